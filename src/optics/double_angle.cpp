#include "optics/double_angle.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {

PlanePoint double_angle_from(const Astigmatism& astigmatism) {
  return {astigmatism.magnitude_D * std::cos(2.0 * astigmatism.steep_rad),
          astigmatism.magnitude_D * std::sin(2.0 * astigmatism.steep_rad)};
}

Astigmatism astigmatism_from(const PlanePoint& double_angle) {
  return {std::hypot(double_angle.x, double_angle.y),
          angle::wrap_axis(0.5 * std::atan2(double_angle.y, double_angle.x))};
}

PlotEllipse ellipse_from(const PlaneCovariance& covariance, double squared_distance) {
  const double half_sum = 0.5 * (covariance.xx + covariance.yy);
  const double root = std::hypot(0.5 * (covariance.xx - covariance.yy), covariance.xy);
  return {std::sqrt(std::max(0.0, squared_distance * (half_sum + root))),
          std::sqrt(std::max(0.0, squared_distance * (half_sum - root))),
          angle::wrap_axis(0.5 * std::atan2(2.0 * covariance.xy, covariance.xx - covariance.yy))};
}

std::optional<Centroid> centroid(std::span<const PlanePoint> points) {
  if (points.size() < 3) return std::nullopt;
  const auto n = static_cast<double>(points.size());
  Centroid result;
  for (const PlanePoint& point : points) {
    result.mean.x += point.x / n;
    result.mean.y += point.y / n;
  }
  for (const PlanePoint& point : points) {
    const double dx = point.x - result.mean.x;
    const double dy = point.y - result.mean.y;
    result.covariance.xx += dx * dx / (n - 1.0);
    result.covariance.xy += dx * dy / (n - 1.0);
    result.covariance.yy += dy * dy / (n - 1.0);
  }
  const double f_95 = 0.5 * (n - 2.0) * (std::pow(0.05, -2.0 / (n - 2.0)) - 1.0);
  const double t_squared = 2.0 * (n - 1.0) / (n - 2.0) * f_95;
  result.of_mean = ellipse_from(result.covariance, t_squared / n);
  result.of_points = ellipse_from(result.covariance, t_squared * (1.0 + 1.0 / n));
  return result;
}

}  // namespace rhumb::optics
