// From the degree of the Markov path to a fraction of it: each frame's marks against the
// recording's own template.
#pragma once

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "analyze/frames.h"
#include "timeline/smoother.h"
#include "timeline/two_ends.h"

namespace rhumb::analyze {

struct FineAxis {
  timeline::Phase phase = timeline::Phase::None;
  bool given = false;
  double axis_rad = 0.0;   // atlas, unwrapped within one stay of a lens
  double seen_rad = 0.0;   // the same with what refraction adds, smoothed over time
  double se_rad = 1e3;     // of the smoothed value, reading only: no reference, no pose, no tilt
  timeline::Reading own;   // this frame's own reading
  timeline::TwoEnds ends;  // and what each end reads
  timeline::Step step;     // from the frame before, where the lens does not rest
  bool followed = false;   // by its marks, where the path is not sure of it
  bool rests = false;      // the lens, from the frame before to this one
  bool end_a = false;      // which ends this frame shows
  bool end_b = false;
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();

  // Whether the frame's own reading keeps to the axis as it is seen, to half a degree.
  bool keeps() const { return own.given && std::abs(own.value_rad - seen_rad) < 0.01; }

  // Whether the frame's own reading speaks for the axis as it is seen; the smoothed axis passes by
  // some.
  bool holds() const {
    return own.given && std::abs(own.value_rad - seen_rad) <= std::max(0.017, 4.0 * own.se_rad);
  }
};

struct FineReport {
  bool both_ends = false;         // both show the same marks; else the weaker one may be clutter
  double template_se_rad = 5e-4;  // of the template's own axis, common to all frames of a lens
  // Frames with the lens before the first and after the last passage of an instrument through the
  // pupil.
  std::size_t settled_until = 0;
  std::size_t settled_from = static_cast<std::size_t>(-1);
  double distance = 0.45;     // of the marks from the lens centre, limbal radii
  double scatter = 1.0;       // observed frame-to-frame scatter over the predicted one
  double likeness = 1.0;      // of the two ends' marks, -1 to 1
  double common_marks = 0.0;  // likeness and symmetry of both (lens::common_marks)
  double steady_share = 0.0;  // of the frames: own reading within half a degree of the axis as seen
  double slow_excess = 1.0;   // observed scatter of 0.4 s means over the predicted one
  double centre_sd = 0.03;    // of the lens's centre about its supposed place, limbal radii
  int frames = 0;             // that the template rests on
};

struct FineReading {
  std::vector<FineAxis> frames;
  FineReport previous;
  FineReport current;
};

FineReading refine(const lens::PatchStore& patches, std::span<const double> time_s,
                   const WindowReading& windows, const FrameReading& coarse, bool smoothing,
                   int threads);

}  // namespace rhumb::analyze
