// Where the pupil shows in a straightened patch.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>

#include "lens/patch.h"

namespace rhumb::lens {

struct Pupil {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // atlas units
  double radius = 0.0;                               // atlas units
};

// luma, saturation: CV_8UC1 or CV_32FC1 as in a patch, best averages of several frames; without
// saturation (empty) luma counts alone. The circle whose edge has the largest agreeing step around
// it (an integro-differential search, after Daugman 1993, from memory), of both planes together:
// the glow is redder than any iris, also where haze makes it as bright. Or one well outside of it
// with half that step, since edges lie inside the pupil and not outside; nothing where no step
// stands out, as when the pupil is wider than the patch.
std::optional<Pupil> find_pupil(const cv::Mat& luma, const cv::Mat& saturation,
                                const PatchGeometry& geometry);

// CV_8UC1, 255 inside the pupil less a margin (atlas units).
cv::Mat1b pupil_mask(const Pupil& pupil, double margin, const PatchGeometry& geometry);

}  // namespace rhumb::lens
