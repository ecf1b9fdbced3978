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
  double contrast = 0.0;  // median step of luma across the edge, relative to the mean luma
};

// patch: CV_8UC1 or CV_32FC1, best an average of several frames. The circle whose edge has the
// largest agreeing step of luma around it (an integro-differential search, after Daugman 1993, from
// memory), or one well outside of it with half that step, since edges lie inside the pupil and not
// outside; nothing where no step stands out, as when the pupil is wider than the patch.
std::optional<Pupil> find_pupil(const cv::Mat& patch, const PatchGeometry& geometry);

// CV_8UC1, 255 inside the pupil less a margin (atlas units).
cv::Mat1b pupil_mask(const Pupil& pupil, double margin, const PatchGeometry& geometry);

}  // namespace rhumb::lens
