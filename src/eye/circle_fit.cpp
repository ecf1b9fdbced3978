#include "eye/circle_fit.h"

#include <Eigen/QR>
#include <algorithm>
#include <cmath>

namespace rhumb::eye {

std::optional<Circle> fit_circle(std::span<const Eigen::Vector2d> points) {
  if (points.size() < 3) return std::nullopt;
  Eigen::Vector2d mean = Eigen::Vector2d::Zero();
  for (const Eigen::Vector2d& point : points) mean += point / static_cast<double>(points.size());
  Eigen::MatrixXd lines(points.size(), 3);
  Eigen::VectorXd squares(points.size());
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Eigen::Vector2d at = points[i] - mean;
    const auto row = static_cast<Eigen::Index>(i);
    lines.row(row) << at.x(), at.y(), 1.0;
    squares(row) = at.squaredNorm();
  }
  const auto linear = lines.colPivHouseholderQr();
  if (linear.rank() < 3) return std::nullopt;
  const Eigen::Vector3d solved = linear.solve(squares);
  const Eigen::Vector2d centre = 0.5 * solved.head<2>();
  return Circle{centre + mean, std::sqrt(std::max(0.0, solved(2) + centre.squaredNorm()))};
}

}  // namespace rhumb::eye
