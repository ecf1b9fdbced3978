#include "followup/photo_pupil.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace rhumb::followup {
namespace {

constexpr int meridians = 72;
constexpr double half_gap = 0.025;  // limbal radii inside and outside of the edge

// Middle of the absolute steps across a circle; 0 where less than half of it can be seen.
double step_across(const cv::Mat& smooth, const cv::Mat& usable, double scale,
                   const Eigen::Vector2d& centre, double radius) {
  std::vector<double> steps;
  const double middle = 0.5 * (smooth.cols - 1);
  const auto value = [&](double r, double c, double s, double& out) {
    const int x = static_cast<int>(std::lround(middle + scale * (centre.x() + r * c)));
    const int y = static_cast<int>(std::lround(middle - scale * (centre.y() + r * s)));
    if (x < 0 || y < 0 || x >= smooth.cols || y >= smooth.rows) return false;
    out = smooth.at<float>(y, x);
    return usable.at<unsigned char>(y, x) != 0;
  };
  for (int k = 0; k < meridians; ++k) {
    const double phi = 2 * std::numbers::pi * k / meridians, c = std::cos(phi), s = std::sin(phi);
    double inside = 0, outside = 0;
    if (value(radius - half_gap, c, s, inside) && value(radius + half_gap, c, s, outside))
      steps.push_back(std::abs(inside - outside));
  }
  if (2 * steps.size() < meridians) return 0;
  const auto half = steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2);
  std::nth_element(steps.begin(), half, steps.end());
  return *half;
}

}  // namespace

std::optional<PhotoPupil> find_photo_pupil(const cv::Mat& log_bright, const cv::Mat& usable,
                                           double scale, const PhotoPupilOptions& options) {
  cv::Mat smooth;
  cv::GaussianBlur(log_bright, smooth, cv::Size(), 0.012 * scale);
  PhotoPupil best;
  const auto search = [&](const Eigen::Vector2d& about, double reach, double r_low, double r_high,
                          double step) {
    for (double y = -reach; y <= reach + 1e-9; y += step)
      for (double x = -reach; x <= reach + 1e-9; x += step)
        for (double r = r_low; r <= r_high + 1e-9; r += step) {
          const Eigen::Vector2d centre = about + Eigen::Vector2d(x, y);
          const double found = step_across(smooth, usable, scale, centre, r);
          if (found > best.step) best = {centre, r, found};
        }
  };
  search(Eigen::Vector2d::Zero(), 0.09, options.smallest, options.largest, 0.03);
  if (best.step < options.least_step) return std::nullopt;
  const PhotoPupil coarse = best;
  search(coarse.centre, 0.024, coarse.radius - 0.024, coarse.radius + 0.024, 0.008);
  return best;
}

}  // namespace rhumb::followup
