// One lens's frames while its axis is refined.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "lens/mark_template.h"

namespace rhumb::analyze {

// One lens's frames: what is known of each before and after a round.
struct Track {
  std::vector<std::size_t> frame;
  std::vector<double> axis_rad;  // unwrapped
  std::vector<Eigen::Vector2d> centre;
  std::vector<bool> resting;
  std::vector<double> trust;  // probability that the path is right
};

struct EndPair {
  lens::TurnEstimate a;
  lens::TurnEstimate b;
};

// Whether a frame's end shows its marks.
bool shows(const lens::TurnEstimate& end);

// Distances of the two ends from the supposed lens centre, limbal radii. They differ where the
// centre is off along the axis, and then each end needs its own.
struct Levers {
  double a = 0.45;
  double b = 0.45;
  double mean() const { return 0.5 * (a + b); }
};

struct Solved {
  bool given = false;
  double turn_rad = 0.0;
  double se_rad = 1e3;
  double offset = 0.0;  // of the lens centre across the axis, limbal radii
  double offset_se = 1e3;
};

}  // namespace rhumb::analyze
