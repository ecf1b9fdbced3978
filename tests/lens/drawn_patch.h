// Pupils painted for tests.
#pragma once

#include <cmath>
#include <cstdint>
#include <opencv2/imgproc.hpp>
#include <utility>
#include <vector>

#include "angle/angle.h"
#include "lens/patch.h"

namespace rhumb::lens_test {

struct Ink {
  int luma = 80;
  int saturation = 50;
};

// A glowing pupil with a line of ink at each of these meridians about `centre` (limbal radii);
// drawn at eight times the size and averaged down, with noise of 1.5 grey levels.
inline lens::Patch drawn_patch(const std::vector<double>& meridians_deg,
                               const Eigen::Vector2d& centre, Ink ink, std::uint64_t seed) {
  const lens::PatchGeometry geometry;
  constexpr int fine = 8;
  const int size = geometry.size_px * fine;
  cv::Mat luma(size, size, CV_8UC1, cv::Scalar(120));
  cv::Mat saturation(size, size, CV_8UC1, cv::Scalar(90));
  const auto to_pixel = [&](double radius, double phi) {
    const Eigen::Vector2d p =
        geometry.pixel_from(centre + radius * Eigen::Vector2d(std::cos(phi), std::sin(phi)));
    return cv::Point(static_cast<int>(std::lround((p.x() + 0.5) * fine - 0.5)),
                     static_cast<int>(std::lround((p.y() + 0.5) * fine - 0.5)));
  };
  for (const double meridian_deg : meridians_deg) {
    const double phi = angle::rad_from_deg(meridian_deg);
    for (auto [plane, value] : {std::pair{&luma, ink.luma}, std::pair{&saturation, ink.saturation}})
      cv::line(*plane, to_pixel(0.38, phi), to_pixel(0.52, phi), cv::Scalar(value), 3 * fine,
               cv::LINE_AA);
  }
  lens::Patch patch;
  const cv::Size small(geometry.size_px, geometry.size_px);
  cv::resize(luma, patch.luma, small, 0, 0, cv::INTER_AREA);
  cv::resize(saturation, patch.saturation, small, 0, 0, cv::INTER_AREA);
  cv::Mat noise(small, CV_16SC1);
  cv::RNG random(seed);
  for (cv::Mat* plane : {&patch.luma, &patch.saturation}) {
    random.fill(noise, cv::RNG::NORMAL, 0.0, 1.5);
    cv::Mat sum;
    plane->convertTo(sum, CV_16S);
    sum += noise;
    sum.convertTo(*plane, CV_8U);
  }
  return patch;
}

}  // namespace rhumb::lens_test
