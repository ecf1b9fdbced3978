#include "followup/straight_pupil.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "followup/curvature.h"

namespace rhumb::followup {
namespace {

constexpr double reach = 0.85;       // limbal radii shown each way
constexpr int saturated_luma = 235;  // luma at which a reflex shows nothing below it

// A reflex that is not saturated: a light disc, wider than a dot and as wide one way as the other.
// `least` is a share of brightness; a dot of 0.15 mm that is twice as bright as what lies about it
// has 0.08, a disc of 0.35 mm 0.25 (closed form for Gaussian discs).
void mask_dim_reflexes(StraightPupil& picture, double least) {
  constexpr double sigma = 0.022, reach_of_one = 0.04;  // limbal radii
  const double s = sigma * picture.scale;
  cv::Mat disc = s * s * curvature_of(picture.bright, s).lesser > least;
  const int width = 2 * static_cast<int>(std::lround(reach_of_one * picture.scale)) + 1;
  cv::dilate(disc, disc, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(width, width)));
  picture.clear.setTo(0, disc);
}

cv::Point nearest(const Eigen::Vector2d& p) {
  return {static_cast<int>(std::lround(p.x())), static_cast<int>(std::lround(p.y()))};
}

}  // namespace

StraightPupil straighten(const reference::Photo& photo, const eye::LimbusEllipse& limbus,
                         double scale, double least_disc) {
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
  out.clear = luma < saturated_luma;
  cv::erode(out.clear, out.clear, cv::Mat(), cv::Point(-1, -1),
            static_cast<int>(std::lround(0.02 * scale)));
  luma.convertTo(out.bright, CV_32F);
  out.bright += 12.0F;
  cv::log(out.bright, out.bright);
  mask_dim_reflexes(out, least_disc);
  return out;
}

void keep_pupil(StraightPupil& picture, const PhotoPupil& pupil) {
  constexpr double margin = 0.025;       // limbal radii
  constexpr double decisive = 0.4;       // of the logarithm of brightness: a red reflex has it
  constexpr double farthest_mark = 0.6;  // limbal radii
  // In diffuse light the edge of the capsule's opening may stand out more than the pupil's.
  const double radius =
      pupil.step < decisive ? std::max(pupil.radius, farthest_mark + margin) : pupil.radius;
  cv::Mat inside = cv::Mat::zeros(picture.clear.size(), CV_8U);
  cv::circle(inside, nearest(picture.pixel(pupil.centre)),
             static_cast<int>((radius - margin) * picture.scale), cv::Scalar(255), cv::FILLED);
  picture.clear &= inside;
}

cv::Mat filled(const StraightPupil& picture) {
  cv::Mat seen, sum, share, out = picture.bright.clone();
  picture.clear.convertTo(seen, CV_32F, 1.0 / 255.0);
  // Nearest surroundings first; the wide ones fill the middle of a large reflex.
  for (const double about : {0.12, 0.05, 0.02}) {
    const cv::Size window(2 * static_cast<int>(std::ceil(about * picture.scale)) + 1,
                          2 * static_cast<int>(std::ceil(about * picture.scale)) + 1);
    cv::blur(picture.bright.mul(seen), sum, window);
    cv::blur(seen, share, window);
    cv::Mat mean = sum / cv::max(share, 1e-6F);
    mean.copyTo(out, (picture.clear == 0) & (share > 0.02F));
  }
  return out;
}

}  // namespace rhumb::followup
