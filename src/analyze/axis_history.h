// One lens's axis over time, from each frame's own reading.
#pragma once

#include <span>
#include <vector>

#include "analyze/track.h"
#include "timeline/smoother.h"

namespace rhumb::analyze {

struct AxisHistory {
  std::vector<timeline::Reading> readings;
  std::vector<timeline::Smoothed> smoothed;
  std::vector<bool> resting;  // whether the lens rests from the frame before to this one
};

// An entry a frame of the track. solved: the frames' readings against track.axis_rad; scatter:
// their observed spread over the predicted one; path_axis_rad: the whole recording's most probable
// path, unwrapped, from which a reading may lie 4 degrees off.
AxisHistory axis_history(const Track& track, const std::vector<Solved>& solved, double scatter,
                         const std::vector<double>& path_axis_rad, std::span<const double> time_s);

}  // namespace rhumb::analyze
