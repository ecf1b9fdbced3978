#include "eye/ring_limbus.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace rhumb::eye {

namespace {

constexpr int directions = 96;
constexpr double innermost = 0.86,
                 outermost = 1.16;  // limbal radii in which the middle is looked for

struct Edge {
  double radius = 0.0;
  double weight = 0.0;
};

// Least-squares fit of a level, a slope and a soft step at each place; the best place refined by a
// parabola.
Edge soft_step(const std::vector<double>& profile, const RingShape& shape) {
  const int rows = shape.rows;
  const double row_step =
      static_cast<double>(shape.radius.back() - shape.radius.front()) / (rows - 1);
  std::vector<double> gain;
  std::vector<double> place;
  std::vector<double> steps;
  for (double at = innermost; at <= outermost; at += 0.5 * row_step) {
    double best = 0.0, best_step = 0.0;
    for (const double width : {0.02, 0.035, 0.055}) {
      Eigen::Matrix3d h = Eigen::Matrix3d::Identity() * 1e-9;
      Eigen::Vector3d g = Eigen::Vector3d::Zero();
      double square = 0.0, mean = 0.0, count = 0.0;
      for (int k = 0; k < rows; ++k) {
        const double d = static_cast<double>(shape.radius[k]) - at;
        if (std::abs(d) > 0.16) continue;
        const Eigen::Vector3d a(1.0, d, std::erf(d / (width * std::numbers::sqrt2)));
        h += a * a.transpose();
        g += a * profile[k];
        square += profile[k] * profile[k];
        mean += profile[k];
        count += 1.0;
      }
      const Eigen::Vector3d x = h.ldlt().solve(g);
      const double total = square - mean * mean / count;
      const double explained = (x.dot(g) - mean * mean / count) / std::max(1e-9, total);
      if (x(2) > 0.0 && explained > best) {
        best = explained;
        best_step = x(2);
      }
    }
    gain.push_back(best);
    place.push_back(at);
    steps.push_back(best_step);
  }
  const auto top = std::max_element(gain.begin(), gain.end()) - gain.begin();
  if (gain[top] < 0.7 || top == 0 || top + 1 == static_cast<std::ptrdiff_t>(gain.size())) return {};
  const double bend = gain[top - 1] - 2.0 * gain[top] + gain[top + 1];
  const double fine =
      bend < 0.0 ? std::clamp(0.5 * (gain[top - 1] - gain[top + 1]) / bend, -0.5, 0.5) : 0.0;
  return {place[top] + fine * 0.5 * row_step, steps[top] > 2.0 ? 1.0 : 0.0};
}

}  // namespace

LimbusInAtlas find_ring_limbus(const cv::Mat& ring, const RingShape& shape) {
  LimbusInAtlas limbus;
  std::vector<Edge> edges(directions);
  std::vector<double> profile(static_cast<std::size_t>(shape.rows));
  const int width = shape.meridians / directions;
  for (int d = 0; d < directions; ++d) {
    for (int k = 0; k < shape.rows; ++k) {
      double sum = 0.0;
      for (int i = -width; i < 2 * width; ++i) {
        const int column = (d * width + i + shape.meridians) % shape.meridians;
        sum += static_cast<double>(ring.at<float>(k, column));
      }
      profile[k] = sum / (3.0 * width);
    }
    edges[d] = soft_step(profile, shape);
  }
  // r(m) = rho + cx cos m + cy sin m + e1 cos 2m + e2 sin 2m: an ellipse of small flattening.
  Eigen::Matrix<double, 5, 1> x = Eigen::Matrix<double, 5, 1>::Zero();
  x(0) = 1.0;
  double scale = 0.05;
  double support = 0.0;
  for (int pass = 0; pass < 12; ++pass) {
    Eigen::Matrix<double, 5, 5> h = Eigen::Matrix<double, 5, 5>::Identity() * 1e-6;
    Eigen::Matrix<double, 5, 1> g = Eigen::Matrix<double, 5, 1>::Zero();
    std::vector<double> sizes;
    support = 0.0;
    for (int d = 0; d < directions; ++d) {
      if (edges[d].weight <= 0.0) continue;
      const double m = 2.0 * std::numbers::pi * (d + 0.5 - 0.5 / width) / directions;
      Eigen::Matrix<double, 5, 1> a;
      a << 1.0, std::cos(m), std::sin(m), std::cos(2.0 * m), std::sin(2.0 * m);
      const double e = edges[d].radius - a.dot(x);
      const double w = 1.0 / (1.0 + e * e / (4.0 * scale * scale));
      h += w * w * a * a.transpose();
      g += w * w * a * edges[d].radius;
      sizes.push_back(std::abs(e));
      support += std::abs(e) < 3.0 * scale ? 1.0 / directions : 0.0;
    }
    if (sizes.size() < 12) return limbus;
    x = h.ldlt().solve(g);
    const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
    std::nth_element(sizes.begin(), middle, sizes.end());
    scale = std::max(0.002, 1.4826 * *middle);
  }
  const double flat = std::hypot(x(3), x(4));
  limbus.centre = {x(1), x(2)};
  limbus.semi_major = x(0) + flat;
  limbus.semi_minor = x(0) - flat;
  limbus.angle_rad = 0.5 * std::atan2(x(4), x(3));
  limbus.arc_share = support;
  return limbus;
}

}  // namespace rhumb::eye
