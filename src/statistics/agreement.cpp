#include "statistics/agreement.h"

#include <cmath>
#include <numbers>

#include "statistics/distributions.h"
#include "statistics/summary.h"

namespace rhumb::statistics {

std::optional<BlandAltman> bland_altman(std::span<const double> differences,
                                        const BlandAltmanOptions& options) {
  if (differences.size() < 3) return std::nullopt;
  const auto n = static_cast<double>(differences.size());
  const double k = options.multiplier;
  const double t = t_quantile(0.5 + options.level / 2.0, n - 1.0);
  BlandAltman result;
  result.n = differences.size();
  result.sd = standard_deviation(differences);
  result.limit_se = result.sd * std::sqrt(1.0 / n + k * k / (2.0 * (n - 1.0)));
  const auto around = [&](double value, double se) {
    return Estimate{value, value - t * se, value + t * se};
  };
  const double bias = mean(differences);
  result.bias = around(bias, result.sd / std::sqrt(n));
  result.lower_limit = around(bias - k * result.sd, result.limit_se);
  result.upper_limit = around(bias + k * result.sd, result.limit_se);
  return result;
}

std::optional<Repeatability> repeatability(const std::vector<std::vector<double>>& by_subject,
                                           double level) {
  Repeatability result;
  double squares = 0.0;
  for (const auto& readings : by_subject) {
    if (readings.size() < 2) continue;
    const double centre = mean(readings);
    for (const double r : readings) squares += (r - centre) * (r - centre);
    ++result.subjects;
    result.readings += readings.size();
  }
  if (result.subjects == 0) return std::nullopt;
  const auto freedom = static_cast<double>(result.readings - result.subjects);
  const double tail = (1.0 - level) / 2.0;
  result.within_sd = {std::sqrt(squares / freedom),
                      std::sqrt(squares / chi_square_quantile(1.0 - tail, freedom)),
                      std::sqrt(squares / chi_square_quantile(tail, freedom))};
  const double factor = 1.959963984540054 * std::numbers::sqrt2;
  result.coefficient = {factor * result.within_sd.value, factor * result.within_sd.low,
                        factor * result.within_sd.high};
  return result;
}

}  // namespace rhumb::statistics
