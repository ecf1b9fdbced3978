// Chooses the atlas's own frame: mean pose, no tilt, limbus at the unit circle.
#pragma once

#include <span>

#include "eye/average.h"

namespace rhumb::eye {

// The tilt of the mean pose against the line of sight, as the parallax it makes.
struct TiltEstimate {
  Eigen::Vector2d parallax = Eigen::Vector2d::Zero();
  Eigen::Vector2d measured = Eigen::Vector2d::Zero();  // before it is drawn towards upright
  double se_rad = 0.0;                                 // of either component
  double spread =
      0.0;  // standard deviation of the parallax over the samples: what the estimate lives on
};

// Turns and shears all poses so that the mean pose of the used samples is upright and unsheared.
// With `with_tilt` the mean tilt is estimated first from how the shear varies with the parallax
// over the samples (foreshortening is quadratic in the absolute tilt, parallax measures its
// changes; so the cross term tells the constant part), weighed with a prior of mean zero, and the
// atlas becomes the eye seen straight from the front.
TiltEstimate settle_gauge(std::span<AtlasSample> samples, const Eigen::Matrix2d& upright,
                          bool with_tilt);

// Moves and scales all poses so that this limbus has its centre at the origin and unit mean radius.
void centre_on(std::span<AtlasSample> samples, const LimbusInAtlas& limbus);

}  // namespace rhumb::eye
