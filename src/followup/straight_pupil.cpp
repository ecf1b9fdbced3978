#include "followup/straight_pupil.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace rhumb::followup {
namespace {

constexpr double reach = 0.85;  // limbal radii shown each way
constexpr int saturated = 235;  // luma at which a reflex shows nothing below it

cv::Point nearest(const Eigen::Vector2d& p) {
  return {static_cast<int>(std::lround(p.x())), static_cast<int>(std::lround(p.y()))};
}

}  // namespace

bool StraightPupil::is_clear(const Eigen::Vector2d& p) const {
  const cv::Point at = nearest(pixel(p));
  return at.x >= 0 && at.y >= 0 && at.x < clear.cols && at.y < clear.rows &&
         clear.at<unsigned char>(at) != 0;
}

StraightPupil straighten(const reference::Photo& photo, const eye::LimbusEllipse& limbus,
                         double scale) {
  StraightPupil out;
  out.scale = scale;
  const double radius = limbus.mean_radius_px();
  const int size = 2 * static_cast<int>(std::ceil(reach * scale)) + 1;
  const double middle = 0.5 * (size - 1);
  // Averaging before a reduction keeps it from aliasing.
  cv::Mat source = photo.luma;
  double ratio = radius / scale;
  double shift = 0, gain = 1;
  while (ratio > 1.7) {
    cv::Mat half;
    cv::resize(source, half, cv::Size(source.cols / 2, source.rows / 2), 0, 0, cv::INTER_AREA);
    source = half;
    ratio /= 2;
    gain /= 2;
    shift = shift / 2 - 0.25;
  }
  const double cx = limbus.centre_px.x() * gain + shift, cy = limbus.centre_px.y() * gain + shift;
  const cv::Matx23d map(ratio, 0, cx - ratio * middle, 0, ratio, cy - ratio * middle);
  cv::Mat luma;
  cv::warpAffine(source, luma, map, cv::Size(size, size), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  out.clear = luma < saturated;
  cv::erode(out.clear, out.clear, cv::Mat(), cv::Point(-1, -1),
            static_cast<int>(std::lround(0.02 * scale)));
  luma.convertTo(out.bright, CV_32F);
  out.bright += 12.0F;
  cv::log(out.bright, out.bright);
  return out;
}

void keep_pupil(StraightPupil& picture, const PhotoPupil& pupil) {
  constexpr double margin = 0.025;      // limbal radii
  constexpr double decisive = 0.4;      // of the logarithm of brightness: a red reflex has it
  constexpr double farthest_mark = 0.6;  // limbal radii
  // In diffuse light the edge of the capsule's opening may stand out more than the pupil's.
  const double radius = pupil.step < decisive ? std::max(pupil.radius, farthest_mark + margin)
                                              : pupil.radius;
  cv::Mat inside = cv::Mat::zeros(picture.clear.size(), CV_8U);
  cv::circle(inside, nearest(picture.pixel(pupil.centre)),
             static_cast<int>((radius - margin) * picture.scale), cv::Scalar(255),
             cv::FILLED);
  picture.clear &= inside;
}

}  // namespace rhumb::followup
