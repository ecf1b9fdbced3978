#include "optics/estimate.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {
namespace {

constexpr double z_95 = 1.959963984540054;  // 97.5 % quantile of the normal distribution
// Square roots of primes are independent over the rationals: their multiples fill the cube evenly.
constexpr std::array primes{2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0, 37.0};

double fraction(double value) { return value - std::floor(value); }

double uniform(int dimension, int row) {
  const double root = std::sqrt(primes.at(dimension));
  return std::max(fraction(0.5 + row * fraction(root)), 1e-12);
}

// Standard normal coordinate `dimension` of a row; two at a time by the Box-Muller transform.
double normal(int dimension, int row) {
  const int pair = dimension / 2 * 2;
  const double radius = std::sqrt(-2.0 * std::log(uniform(pair, row)));
  const double turn = 2.0 * angle::pi * uniform(pair + 1, row);
  return dimension == pair ? radius * std::cos(turn) : radius * std::sin(turn);
}

// Quantile with linear interpolation between order statistics; the values are reordered.
double quantile(std::vector<double>& values, double share) {
  const double place = share * static_cast<double>(values.size() - 1);
  const auto below = static_cast<std::ptrdiff_t>(place);
  std::nth_element(values.begin(), values.begin() + below, values.end());
  const double first = values[below];
  if (below + 1 == static_cast<std::ptrdiff_t>(values.size())) return first;
  const double second = *std::min_element(values.begin() + below + 1, values.end());
  return first + (place - static_cast<double>(below)) * (second - first);
}

}  // namespace

Uncertain Uncertain::from(const Estimate& estimate) {
  return {estimate.value, (estimate.value - estimate.low) / z_95,
          (estimate.high - estimate.value) / z_95};
}

std::vector<std::vector<double>> draw(std::span<const Uncertain> inputs, int count) {
  std::vector<std::vector<double>> rows(std::max(count, 1), std::vector<double>(inputs.size()));
  for (std::size_t i = 0; i < inputs.size(); ++i) {
    rows[0][i] = inputs[i].value;
    for (std::size_t row = 1; row < rows.size(); ++row) {
      const double z = normal(static_cast<int>(i), static_cast<int>(row));
      rows[row][i] = inputs[i].value + z * (z < 0.0 ? inputs[i].se_below : inputs[i].se_above);
    }
  }
  return rows;
}

Estimate summarise(std::span<const double> results) {
  const double value = results[0];
  if (results.size() < 2) return {value, value, value};
  std::vector<double> rest(results.begin() + 1, results.end());
  const double low = quantile(rest, 0.025);
  const double high = quantile(rest, 0.975);
  return {value, std::min(low, value), std::max(high, value)};
}

Estimate summarise_axes(std::span<const double> axes_rad) {
  std::vector<double> away(axes_rad.size());
  for (std::size_t i = 0; i < away.size(); ++i)
    away[i] = angle::wrap_deviation(axes_rad[i] - axes_rad[0]);
  const Estimate spread = summarise(away);
  return {axes_rad[0], axes_rad[0] + spread.low, axes_rad[0] + spread.high};
}

}  // namespace rhumb::optics
