// Every frame read with what the marks of this recording look like: evidence by axis for the hidden
// Markov model.
#pragma once

#include <span>
#include <vector>

#include "analyze/windows.h"

namespace rhumb::analyze {

// Of the path being right (posterior.near_path): below it no axis is given and no rest relied on.
inline constexpr double least_probability = 0.6;

struct FrameReading {
  timeline::AxisPath path;            // a step a frame
  timeline::AxisPosterior posterior;  // about it
  // Share of the pupil under reflexes and instruments, by frame; -1 where it was not seen.
  std::vector<float> covered;
  std::vector<Eigen::Vector2d> centre;  // supposed lens centre by frame (atlas), from the windows
};

// Deterministic for any number of threads.
FrameReading read_frames(const lens::PatchStore& patches, std::span<const double> time_s,
                         const WindowReading& windows, const LensPrior& prior, int threads);

}  // namespace rhumb::analyze
