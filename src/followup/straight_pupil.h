// The pupil of a photograph, straightened to limbal radii: what its marks are looked for in.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>

#include "eye/pose.h"
#include "followup/photo_pupil.h"
#include "reference/photo_file.h"

namespace rhumb::followup {

struct StraightPupil {
  cv::Mat bright;      // CV_32FC1, logarithm of luma; square, its middle the limbus centre
  cv::Mat clear;       // CV_8UC1, 0 at reflexes and, after keep_pupil, outside of the pupil
  double scale = 1.0;  // pixels a limbal radius
  double middle() const { return 0.5 * (bright.cols - 1); }
  // From limbal radii about the limbus centre, y up.
  Eigen::Vector2d pixel(const Eigen::Vector2d& p) const {
    return {middle() + scale * p.x(), middle() - scale * p.y()};
  }
};

// Straightened by the limbus's mean radius alone: its ellipse is anatomy as much as tilt.
// `limbus` in the photograph's pixels. Light discs wider than a dot count as reflexes, not clear,
// from a share `least_disc` of brightness on; a dot twice as bright as what lies about it has 0.08.
StraightPupil straighten(const reference::Photo& photo, const eye::LimbusEllipse& limbus,
                         double scale, double least_disc);

// Leaves nothing outside of the pupil clear, nor a margin inside: its edge is soft and no perfect
// circle.
void keep_pupil(StraightPupil& picture, const PhotoPupil& pupil);

// `bright` with what is not clear replaced by the mean of what is clear about it, so that a filter
// beside a reflex or the pupil's edge does not see a step.
cv::Mat filled(const StraightPupil& picture);

}  // namespace rhumb::followup
