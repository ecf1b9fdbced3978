// How well a soft step at each radius explains one direction of the averaged ring.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "eye/ring.h"

namespace rhumb::eye {

// Averaged ring on a shape's grid, CV_32FC1: luma, and both chroma planes (any constant level);
// seen: in which share of the averaged frames a point lay in the picture.
struct RingPlanes {
  std::array<cv::Mat, 3> value;
  cv::Mat seen;
};

inline constexpr int ring_directions = 96;

struct RingDirection {
  double meridian_rad = 0.0;
  std::vector<char> usable;                    // a row that is explained: 1 where it was seen
  std::array<std::vector<double>, 3> profile;  // a plane: relative to the direction's brightness
  // Filled by fit_steps(), a place each:
  std::vector<double> log_likelihood;
  std::vector<std::array<double, 3>> step;    // a plane
  std::vector<std::array<double, 3>> square;  // a plane: mean squared residual
};

// What is expected of a plane: noise about the soft step, and the step itself with its scatter.
struct ExpectedStep {
  double noise = 1.0;
  double step = 0.0;
  double step_sd = 1e3;
};
using ExpectedSteps = std::array<ExpectedStep, 3>;

// The radii (limbal) at which a step is looked for.
std::vector<double> step_places(const RingShape& shape);

// The directions, each over three times its width, of which most was seen.
std::vector<RingDirection> read_directions(const RingPlanes& planes, const RingShape& shape);

// How much each plane counts; 0: not at all.
using PlaneWeights = std::array<double, 3>;
// Of a first fit. Rendered eyes bear equal weights; on frames of real operations those cost a
// quarter more error, since redness and pigment end beside the limbus. See docs/accuracy.md.
inline constexpr PlaneWeights all_planes = {1.0, 0.3, 0.3};

// Fills likelihoods, steps and residuals of all directions at `places`: least squares of a level, a
// slope, a soft step of the best of three softnesses and a change of slope behind it.
void fit_steps(const RingShape& shape, const std::vector<double>& places,
               const ExpectedSteps& expected, const PlaneWeights& weights,
               std::vector<RingDirection>& all);

}  // namespace rhumb::eye
