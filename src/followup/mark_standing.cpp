#include "followup/mark_standing.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "followup/curvature.h"

namespace rhumb::followup {
namespace {

constexpr double spot_sigma = 0.011;  // limbal radii: a dot of 0.15 mm, a line's width

float median_absolute(const cv::Mat& response, const cv::Mat& where) {
  std::vector<float> values;
  for (int y = 0; y < response.rows; y += 2)
    for (int x = 0; x < response.cols; x += 2)
      if (where.at<unsigned char>(y, x) && response.at<float>(y, x) != 0)
        values.push_back(std::abs(response.at<float>(y, x)));
  if (values.size() < 50) return 1.0F;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return std::max(1e-6F, *middle);
}

// Divides by the scatter that `rough` has in the neighbourhood: haze in a slit of light is rougher
// than the dark beside it. What stands out itself is cut, so that it does not hide in its own.
cv::Mat standardise(const cv::Mat& response, const cv::Mat& rough, const StraightPupil& pupil) {
  const float typical = 1.4826F * median_absolute(rough, pupil.clear);
  cv::Mat size, seen, local, share;
  cv::min(cv::abs(rough), 2.5F * typical, size);
  pupil.clear.convertTo(seen, CV_32F, 1.0 / 255.0);
  size = size.mul(seen);
  const int width = 2 * static_cast<int>(std::lround(0.11 * pupil.scale)) + 1;
  cv::boxFilter(size, local, CV_32F, cv::Size(width, width));
  cv::boxFilter(seen, share, CV_32F, cv::Size(width, width));
  local = 1.25F * local / cv::max(share, 0.05F);  // mean absolute value of a Gaussian: 0.8 sigma
  cv::Mat out = response / cv::max(local, 0.5F * typical);
  return out.mul(seen);
}

// Spots: the lesser of the two curvatures. Against the scatter of the mean curvature, which noise
// alone never exceeds.
cv::Mat spots(const StraightPupil& pupil) {
  const Curvature found = curvature_of(pupil.bright, spot_sigma * pupil.scale);
  return standardise(found.lesser, found.mean, pupil);
}

// Negative second derivative of a Gaussian across (c, -s), a Gaussian along; unit energy.
cv::Mat bar_kernel(double angle_rad, double across, double along) {
  const int half = static_cast<int>(std::ceil(std::max(3.2 * across, 2.2 * along)));
  cv::Mat k(2 * half + 1, 2 * half + 1, CV_32F);
  const double c = std::cos(angle_rad), s = -std::sin(angle_rad);
  for (int y = -half; y <= half; ++y)
    for (int x = -half; x <= half; ++x) {
      const double u = x * c + y * s, v = -x * s + y * c;
      const double g = std::exp(-0.5 * (u * u / (along * along) + v * v / (across * across)));
      k.at<float>(y + half, x + half) = static_cast<float>((1 - v * v / (across * across)) * g);
    }
  k -= cv::mean(k)[0];
  return k / cv::norm(k);
}

cv::Mat bars(const StraightPupil& pupil, double angle_rad, double size) {
  cv::Mat out;
  const double across = spot_sigma * pupil.scale;
  cv::filter2D(pupil.bright, out, CV_32F, bar_kernel(angle_rad, across, size / 3.5 * pupil.scale),
               cv::Point(-1, -1), 0, cv::BORDER_REPLICATE);
  return standardise(out, out, pupil);
}

}  // namespace

bool Standing::at(const Eigen::Vector2d& p, double& value) const {
  const Eigen::Vector2d q = pupil->pixel(p);
  const cv::Point i(static_cast<int>(std::lround(q.x())), static_cast<int>(std::lround(q.y())));
  if (i.x < 0 || i.y < 0 || i.x >= out.cols || i.y >= out.rows ||
      !pupil->clear.at<unsigned char>(i))
    return false;
  value = static_cast<double>(out.at<float>(i));
  return true;
}

Standing standing_out(const StraightPupil& pupil, bool along, double angle_rad, double size) {
  return {along ? bars(pupil, angle_rad, size) : spots(pupil), &pupil};
}

Standing widened(const Standing& exact) {
  Standing out = exact;
  cv::Mat most, least;
  cv::dilate(exact.out, most, cv::Mat());
  cv::erode(exact.out, least, cv::Mat());
  cv::max(most, 0.0F, most);
  cv::min(least, 0.0F, least);
  out.out = most + least;
  cv::Mat light = most > -least;
  most.copyTo(out.out, light);
  least.copyTo(out.out, ~light);
  return out;
}

}  // namespace rhumb::followup
