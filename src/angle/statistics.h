// What many directions have in common, without tripping over the place where angles begin again.
//
// Meridians (with an arrow, period 2 pi) are added as unit vectors; axes (without, period pi) are
// doubled first and their results halved (Mardia, Statistics of Directional Data, 1972; Fisher,
// Statistical Analysis of Circular Data, 1993).
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace rhumb::angle {

struct Directions {
  std::size_t n = 0;
  double mean_rad = 0.0;  // meridians: [0, 2 pi); axes: [0, pi)
  double resultant =
      0.0;  // mean resultant length, 0 (no common direction) to 1; axes: of the doubled angles
  double circular_sd_rad = 0.0;  // sqrt(-2 ln R), halved for axes; infinite where R is 0
  double kappa = 0.0;  // von Mises concentration, maximum likelihood; axes: of the doubled angles
  double rayleigh_z = 0.0;  // n R^2
  double rayleigh_p = 1.0;  // of so strong a common direction arising from none
};

// Angles in radians, wrapped or not. Nothing for an empty list. Where the vectors cancel (R below
// 1e-12) the mean is undefined and given as 0.
std::optional<Directions> describe_meridians(std::span<const double> meridians_rad);
std::optional<Directions> describe_axes(std::span<const double> axes_rad);

// Mean of two or more axes alone, [0, pi); nothing where they have none.
std::optional<double> mean_axis(std::span<const double> axes_rad);

// A(kappa) = I1(kappa) / I0(kappa), the mean resultant length of a von Mises distribution, and its
// inverse (0 for R = 0, infinite for R = 1). The ratio is evaluated as a continued fraction
// (Gauss), or from its expansion for large kappa; the inverse by Newton's method.
double resultant_of_kappa(double kappa);
double kappa_of_resultant(double resultant);

}  // namespace rhumb::angle
