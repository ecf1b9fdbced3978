#include "statistics/summary.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

#include "statistics/distributions.h"

namespace rhumb::statistics {

double mean(std::span<const double> values) {
  double sum = 0.0;
  for (const double v : values) sum += v;
  return sum / static_cast<double>(values.size());
}

double standard_deviation(std::span<const double> values) {
  if (values.size() < 2) return std::numeric_limits<double>::quiet_NaN();
  const double centre = mean(values);
  double squares = 0.0;
  for (const double v : values) squares += (v - centre) * (v - centre);
  return std::sqrt(squares / static_cast<double>(values.size() - 1));
}

double median(std::span<const double> values) { return quantile(values, 0.5); }

double quantile(std::span<const double> values, double p) {
  if (values.empty() || !(p >= 0.0 && p <= 1.0)) return std::numeric_limits<double>::quiet_NaN();
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  const double place = p * static_cast<double>(sorted.size() - 1);
  const auto below = static_cast<std::size_t>(place);
  const std::size_t above = std::min(below + 1, sorted.size() - 1);
  return sorted[below] + (place - std::floor(place)) * (sorted[above] - sorted[below]);
}

std::optional<Estimate> mean_with_interval(std::span<const double> values, double level) {
  if (values.size() < 2) return std::nullopt;
  const auto n = static_cast<double>(values.size());
  const double centre = mean(values);
  const double half =
      t_quantile(0.5 + level / 2.0, n - 1.0) * standard_deviation(values) / std::sqrt(n);
  return Estimate{centre, centre - half, centre + half};
}

std::optional<Line> fit_line(std::span<const double> x, std::span<const double> y, double level) {
  if (x.size() != y.size() || x.size() < 3) return std::nullopt;
  const double mean_x = mean(x);
  const double mean_y = mean(y);
  double sxx = 0.0;
  double sxy = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    sxx += (x[i] - mean_x) * (x[i] - mean_x);
    sxy += (x[i] - mean_x) * (y[i] - mean_y);
  }
  if (!(sxx > 0.0)) return std::nullopt;
  Line line;
  const double slope = sxy / sxx;
  line.intercept = mean_y - slope * mean_x;
  double squares = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double residual = y[i] - line.intercept - slope * x[i];
    squares += residual * residual;
  }
  const auto freedom = static_cast<double>(x.size() - 2);
  line.residual_sd = std::sqrt(squares / freedom);
  const double half = t_quantile(0.5 + level / 2.0, freedom) * line.residual_sd / std::sqrt(sxx);
  line.slope = {slope, slope - half, slope + half};
  return line;
}

}  // namespace rhumb::statistics
