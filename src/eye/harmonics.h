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

// Edges of a limbus err together, by a vessel's redness, a lid's shadow or uneven light: by this
// share of the radius, alike over thirty degrees. So chosen that it leaves the centre of a limbus
// that is seen all round 0.006 of the radius.
inline constexpr double common_edge_error = 0.015;
inline constexpr double independent_edges = 12.0;  // all round

}  // namespace rhumb::eye
