// One lens's axis over time, from each frame's own reading.
#pragma once

#include <span>
#include <vector>

#include "analyze/track.h"
#include "timeline/smoother.h"
#include "timeline/two_ends.h"

namespace rhumb::analyze {

struct AxisHistory {
  std::vector<timeline::Reading> readings;  // of each frame by itself
  std::vector<timeline::TwoEnds> ends;      // the same by end
  std::vector<timeline::Step> steps;
  std::vector<timeline::SmoothedEnds> smoothed;
  std::vector<bool> resting;  // whether the lens rests from the frame before to this one
};

// The ends of each frame as they were measured against track.axis_rad, and what they solve to.
struct Measured {
  std::vector<EndPair> ends;
  std::vector<Solved> solved;
  Levers levers;
  double scatter = 1.0;  // observed spread over the predicted one
};

// An entry a frame of the track. path_axis_rad: the whole recording's most probable path,
// unwrapped, from which a reading may lie 4 degrees off; centre_sd: of the lens's centre across the
// axis about its supposed place, limbal radii.
AxisHistory axis_history(const Track& track, const Measured& measured,
                         const std::vector<double>& path_axis_rad, std::span<const double> time_s,
                         double centre_sd);

}  // namespace rhumb::analyze
