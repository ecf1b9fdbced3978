// How far each place of a straightened pupil stands out of its surroundings as a piece of a lens's
// marks would.
#pragma once

#include <opencv2/core.hpp>

#include "followup/straight_pupil.h"

namespace rhumb::followup {

// In robust standard deviations of the neighbourhood; lighter counts as positive.
struct Standing {
  cv::Mat out;  // CV_32FC1; 0 where not clear
  const StraightPupil* pupil = nullptr;

  // `p` in limbal radii, y up. False where the place can't be seen.
  bool at(const Eigen::Vector2d& p, double& value) const;
};

// For dots: spots as wide as one. For `along`: bars of `size` limbal radii that run along
// angle_rad. `pupil` must outlive the result; its `bright` should be filled().
Standing standing_out(const StraightPupil& pupil, bool along, double angle_rad, double size);

// The value of largest size within a pixel, so that places may be tried two pixels apart.
Standing widened(const Standing& exact);

}  // namespace rhumb::followup
