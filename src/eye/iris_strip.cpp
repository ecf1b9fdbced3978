#include "eye/iris_strip.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "eye/median.h"

namespace rhumb::eye {
namespace {

constexpr int pad = 32;  // columns that are repeated beyond either end: the strip is a circle
constexpr int sectors = 24;
constexpr int sector_columns = 32;
constexpr int band_rows = 10;
constexpr std::array<int, 2> band_first = {2, 10};  // 0.68 and 0.76 limbal radii
constexpr double least_correlation = 0.9;
constexpr double least_share = 0.6;

// Shading and what is wider than the texture taken off, both ends repeated.
cv::Mat1f texture_of(const cv::Mat1b& strip) {
  cv::Mat1b round;
  cv::hconcat(std::vector<cv::Mat>{strip.colRange(strip.cols - pad, strip.cols), strip,
                                   strip.colRange(0, pad)},
              round);
  cv::Mat1f texture;
  round.convertTo(texture, CV_32F);
  cv::Mat1f shading;
  cv::GaussianBlur(texture, shading, {}, 7.0, 6.0, cv::BORDER_REPLICATE);
  texture -= shading;
  return texture;
}

struct Shift {
  double columns = 0.0;
  double correlation = 0.0;
};

double correlation_of(const cv::Mat1f& a, const cv::Mat1f& b) {
  cv::Scalar mean_a;
  cv::Scalar mean_b;
  cv::Scalar sd_a;
  cv::Scalar sd_b;
  cv::meanStdDev(a, mean_a, sd_a);
  cv::meanStdDev(b, mean_b, sd_b);
  const double both = a.dot(b) / static_cast<double>(a.total()) - mean_a[0] * mean_b[0];
  return both / std::max(1e-9, sd_a[0] * sd_b[0]);
}

// One step of least squares over shift, gain and offset, differences limited by their own median.
cv::Vec2d step_towards(const cv::Mat1f& part, const cv::Mat1f& warped) {
  std::vector<double> sizes;
  for (int row = 0; row < part.rows; ++row)
    for (int col = 0; col < part.cols; ++col)
      sizes.push_back(std::abs(part(row, col) - warped(row, col)));
  const double limit = 2.0 * median_of(std::move(sizes)) + 1e-3;
  cv::Matx44d normal = cv::Matx44d::zeros();
  cv::Vec4d right(0.0, 0.0, 0.0, 0.0);
  for (int row = 0; row < part.rows; ++row) {
    for (int col = 0; col < part.cols; ++col) {
      const int left_col = std::max(0, col - 1);
      const int right_col = std::min(part.cols - 1, col + 1);
      const int upper = std::max(0, row - 1);
      const int lower = std::min(part.rows - 1, row + 1);
      const double difference = part(row, col) - warped(row, col);
      const double weight = 1.0 / std::pow(1.0 + std::pow(difference / limit, 2.0), 2.0);
      const double across = (warped(row, right_col) - warped(row, left_col)) /
                            static_cast<float>(right_col - left_col);
      const double down =
          (warped(lower, col) - warped(upper, col)) / static_cast<float>(lower - upper);
      const cv::Vec4d by(across, down, warped(row, col), 1.0);
      normal += weight * by * by.t();
      right += weight * difference * by;
    }
  }
  cv::Vec4d solution(0.0, 0.0, 0.0, 0.0);
  if (!cv::solve(normal, right, solution, cv::DECOMP_CHOLESKY)) return {0.0, 0.0};
  return {std::clamp(solution[0], -1.0, 1.0), std::clamp(solution[1], -1.0, 1.0)};
}

// How far the sector lies in `reference` beyond where it lies in `strip`.
Shift shift_of(const cv::Mat1f& strip, const cv::Mat1f& reference, int first_row, int first_col) {
  constexpr int most_rounds = 8;
  constexpr double settled_columns = 0.004;
  const cv::Size size(sector_columns, band_rows);
  const cv::Mat1f part = strip(cv::Rect({first_col, first_row}, size));
  cv::Vec2d shift(0.0, 0.0);
  cv::Mat1f warped;
  for (int round = 0; round < most_rounds; ++round) {
    const cv::Matx23d from(1.0, 0.0, first_col + shift[0], 0.0, 1.0, first_row + shift[1]);
    cv::warpAffine(reference, warped, from, size, cv::INTER_CUBIC | cv::WARP_INVERSE_MAP,
                   cv::BORDER_REPLICATE);
    if (round + 1 == most_rounds) break;
    const cv::Vec2d step = step_towards(part, warped);
    if (cv::norm(step) < settled_columns) break;
    shift += step;
  }
  return {shift[0], correlation_of(part, warped)};
}

// Standard deviation of the values about a + b cos + c sin of their meridians: a turn, and a shift
// of the iris against the limbus as any tilt makes it.
double spread_beside_a_shift(const std::vector<double>& meridians,
                             const std::vector<double>& values) {
  const auto n = static_cast<int>(values.size());
  cv::Mat1d by(n, 3);
  const cv::Mat1d value(values, true);
  for (int k = 0; k < n; ++k) {
    by(k, 0) = 1.0;
    by(k, 1) = std::cos(meridians[static_cast<std::size_t>(k)]);
    by(k, 2) = std::sin(meridians[static_cast<std::size_t>(k)]);
  }
  cv::Mat1d solution;
  cv::solve(by, value, solution, cv::DECOMP_SVD);
  std::vector<double> sizes;
  sizes.reserve(values.size());
  for (int k = 0; k < n; ++k) sizes.push_back(std::abs(value(k, 0) - by.row(k).dot(solution.t())));
  return mad_to_sd * median_of(std::move(sizes));
}

}  // namespace

cv::Mat1b iris_strip(const cv::Mat& luma, const EyePose& pose, const IrisStripGeometry& geometry) {
  cv::Mat2f map(geometry.rows, geometry.columns);
  for (int col = 0; col < geometry.columns; ++col) {
    const double meridian = 2.0 * std::numbers::pi * col / geometry.columns;
    const Eigen::Vector2d along(std::cos(meridian), std::sin(meridian));
    for (int row = 0; row < geometry.rows; ++row) {
      const Eigen::Vector2d at =
          pose.picture_from((geometry.inner + geometry.row_step() * row) * along);
      map(row, col) = {static_cast<float>(at.x()), static_cast<float>(at.y())};
    }
  }
  cv::Mat1b strip;
  cv::remap(luma, strip, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_CONSTANT, 0);
  return strip;
}

std::optional<double> bending(const cv::Mat1b& strip, const cv::Mat1b& reference,
                              const IrisStripGeometry& geometry) {
  const cv::Mat1f seen = texture_of(strip);
  const cv::Mat1f expected = texture_of(reference);
  const double column_rad = 2.0 * std::numbers::pi / geometry.columns;
  double sum = 0.0;
  int bands = 0;
  for (const int first_row : band_first) {
    const double distance = geometry.inner + geometry.row_step() * (first_row + 0.5 * band_rows);
    std::vector<double> meridians;
    std::vector<double> along;
    for (int sector = 0; sector < sectors; ++sector) {
      const int middle = sector * geometry.columns / sectors;
      const Shift shift = shift_of(seen, expected, first_row, pad + middle - sector_columns / 2);
      if (shift.correlation < least_correlation) continue;
      meridians.push_back(middle * column_rad);
      along.push_back(shift.columns * column_rad * distance);
    }
    if (static_cast<double>(along.size()) < least_share * sectors) continue;
    sum += spread_beside_a_shift(meridians, along);
    ++bands;
  }
  if (bands == 0) return std::nullopt;
  return sum / bands;
}

}  // namespace rhumb::eye
