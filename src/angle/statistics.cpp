#include "angle/statistics.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "angle/angle.h"

namespace rhumb::angle {
namespace {

constexpr double no_direction = 1e-12;
constexpr double large_kappa = 300.0;  // beyond it four terms of the expansion are exact to 1e-12

// p of the Rayleigh test (Wilkie, Applied Statistics 32, 1983, 311-312; formula from memory).
double rayleigh_p(double n, double resultant) {
  const double length = n * resultant;
  return std::min(
      1.0, std::exp(std::sqrt(1.0 + 4.0 * n + 4.0 * (n * n - length * length)) - (1.0 + 2.0 * n)));
}

// `times` 1 for meridians, 2 for axes.
std::optional<Directions> describe(std::span<const double> angles_rad, double times) {
  if (angles_rad.empty()) {
    return std::nullopt;
  }
  double c = 0.0;
  double s = 0.0;
  for (const double angle : angles_rad) {
    c += std::cos(times * angle);
    s += std::sin(times * angle);
  }
  const auto n = static_cast<double>(angles_rad.size());
  Directions all;
  all.n = angles_rad.size();
  if (std::hypot(c, s) / n < no_direction) {
    all.circular_sd_rad = std::numeric_limits<double>::infinity();
    return all;
  }
  const double direction = std::atan2(s, c);
  // 1 - R from the angles about their mean, so that a tight cluster keeps its digits.
  double short_of_one = 0.0;
  for (const double angle : angles_rad) {
    const double half_sine = std::sin(0.5 * (times * angle - direction));
    short_of_one += 2.0 * half_sine * half_sine;
  }
  short_of_one = std::clamp(short_of_one / n, 0.0, 1.0);
  all.mean_rad = times == 1.0 ? wrap_meridian(direction) : wrap_axis(direction / times);
  all.resultant = 1.0 - short_of_one;
  all.circular_sd_rad = std::sqrt(-2.0 * std::log1p(-short_of_one)) / times;
  all.kappa = kappa_of_resultant(all.resultant);
  all.rayleigh_z = n * all.resultant * all.resultant;
  all.rayleigh_p = rayleigh_p(n, all.resultant);
  return all;
}

}  // namespace

std::optional<Directions> describe_meridians(std::span<const double> meridians_rad) {
  return describe(meridians_rad, 1.0);
}

std::optional<Directions> describe_axes(std::span<const double> axes_rad) {
  return describe(axes_rad, 2.0);
}

std::optional<double> mean_axis(std::span<const double> axes_rad) {
  const auto all = describe_axes(axes_rad);
  return all && all->resultant > 0.0 ? std::optional<double>(all->mean_rad) : std::nullopt;
}

double resultant_of_kappa(double kappa) {
  if (kappa <= 0.0) {
    return 0.0;
  }
  if (kappa > large_kappa) {
    const double x = 1.0 / kappa;
    return 1.0 - x * (0.5 + x * (0.125 + x * (0.125 + x * (25.0 / 128.0))));
  }
  // I1/I0 = k/(2 + k^2/(4 + k^2/(6 + ...))), from the tail up; beyond 2k + 60 terms nothing
  // changes.
  double tail = 0.0;
  for (int term = static_cast<int>(2.0 * kappa) + 60; term >= 1; --term) {
    tail = kappa * kappa / (2.0 * (term + 1) + tail);
  }
  return kappa / (2.0 + tail);
}

double kappa_of_resultant(double resultant) {
  if (resultant <= 0.0) {
    return 0.0;
  }
  if (resultant >= 1.0) {
    return std::numeric_limits<double>::infinity();
  }
  // Start of Newton's method: Best and Fisher's rational form, good to a few per cent.
  double kappa = resultant * (2.0 - resultant * resultant) / (1.0 - resultant * resultant);
  for (int step = 0; step < 50; ++step) {
    const double ratio = resultant_of_kappa(kappa);
    const double slope = 1.0 - ratio * ratio - ratio / kappa;
    const double change = (ratio - resultant) / slope;
    const double next = std::max(kappa - change, 0.5 * kappa);
    if (std::abs(next - kappa) <= 1e-14 * kappa || !(slope > 0.0)) {
      break;
    }
    kappa = next;
  }
  return kappa;
}

}  // namespace rhumb::angle
