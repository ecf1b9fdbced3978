// The pupil of a photograph: lens marks are seen through it alone, and the iris about it is full of
// bars that run outwards as marks do.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>

namespace rhumb::followup {

struct PhotoPupil {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // limbal radii from the limbus centre, y up
  double radius = 0.0;                               // limbal radii
  double step = 0.0;  // of the logarithm of brightness across its edge, either way, middle value
};

struct PhotoPupilOptions {
  double smallest = 0.28;    // limbal radii: a pupil of 3 mm
  double largest = 0.78;     // 8.2 mm
  double least_step = 0.06;  // six per cent of brightness
};

// log_bright: CV_32FC1, square, its middle the limbus centre, `scale` pixels a limbal radius.
// usable: CV_8UC1 of that size, 0 at reflexes. The circle across whose edge brightness changes most
// on the middle one of all meridians (after the integro-differential search of Daugman 1993, from
// memory), whatever the sign: a slit of light makes the pupil darker than the lit iris and brighter
// than the unlit. Nothing where no edge stands out.
std::optional<PhotoPupil> find_photo_pupil(const cv::Mat& log_bright, const cv::Mat& usable,
                                           double scale, const PhotoPupilOptions& options = {});

}  // namespace rhumb::followup
