#include "statistics/axial.h"

#include <cmath>

#include "statistics/distributions.h"

namespace rhumb::statistics {

std::optional<AxialMean> axial_mean(std::span<const double> axes_rad, double level) {
  if (axes_rad.empty()) return std::nullopt;
  const auto n = static_cast<double>(axes_rad.size());
  double c = 0.0;
  double s = 0.0;
  for (const double a : axes_rad) {
    c += std::cos(2.0 * a);
    s += std::sin(2.0 * a);
  }
  AxialMean result;
  result.n = axes_rad.size();
  result.resultant = std::min(1.0, std::hypot(c, s) / n);
  const double direction = std::atan2(s, c);
  result.mean_rad = direction / 2.0;
  result.circular_sd_rad = std::sqrt(std::max(0.0, -2.0 * std::log(result.resultant))) / 2.0;
  if (axes_rad.size() < 2 || !(result.resultant > 1e-9)) return result;
  double about_mean = 0.0;
  for (const double a : axes_rad) about_mean += std::cos(2.0 * (2.0 * a - direction));
  const double dispersion =
      std::max(0.0, 1.0 - about_mean / n) / (2.0 * result.resultant * result.resultant);
  const double reach = t_quantile(0.5 + level / 2.0, n - 1.0) * std::sqrt(dispersion / (n - 1.0));
  if (reach >= 1.0) return result;
  const double half = std::asin(reach) / 2.0;
  result.interval_rad = Estimate{result.mean_rad, result.mean_rad - half, result.mean_rad + half};
  return result;
}

}  // namespace rhumb::statistics
