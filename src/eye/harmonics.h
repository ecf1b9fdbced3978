// An ellipse of small flattening as a radius by direction, to first order.
#pragma once

#include <Eigen/Core>
#include <cmath>

namespace rhumb::eye {

using Vector5 = Eigen::Matrix<double, 5, 1>;

// 1, cos m, sin m, cos 2m, sin 2m of a direction: their weights are the mean radius, the shift of
// the centre and the elongation.
inline Vector5 harmonics(double direction_rad) {
  Vector5 h;
  h << 1.0, std::cos(direction_rad), std::sin(direction_rad), std::cos(2.0 * direction_rad),
      std::sin(2.0 * direction_rad);
  return h;
}

}  // namespace rhumb::eye
