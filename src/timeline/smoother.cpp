#include "timeline/smoother.h"

#include <algorithm>
#include <cmath>

namespace rhumb::timeline {
namespace {

constexpr double vague_variance = 1e2;

std::vector<Smoothed> smooth_once(std::span<const Reading> readings,
                                  std::span<const double> step_sd_rad,
                                  std::span<const double> variance) {
  const std::size_t n = readings.size();
  std::vector<double> mean(n);
  std::vector<double> spread(n);
  double state = 0.0;
  double uncertainty = vague_variance;
  for (std::size_t k = 0; k < n; ++k) {
    if (k > 0) uncertainty += step_sd_rad[k] * step_sd_rad[k];
    if (readings[k].given) {
      const double gain = uncertainty / (uncertainty + variance[k]);
      state += gain * (readings[k].value_rad - state);
      uncertainty *= 1.0 - gain;
    }
    mean[k] = state;
    spread[k] = uncertainty;
  }
  std::vector<Smoothed> out(n);
  double later_mean = mean[n - 1];
  double later_spread = spread[n - 1];
  out[n - 1] = {later_mean, std::sqrt(later_spread)};
  for (std::size_t k = n - 1; k-- > 0;) {
    const double predicted = spread[k] + step_sd_rad[k + 1] * step_sd_rad[k + 1];
    const double gain = spread[k] / predicted;
    later_mean = mean[k] + gain * (later_mean - mean[k]);
    later_spread = spread[k] + gain * gain * (later_spread - predicted);
    out[k] = {later_mean, std::sqrt(std::max(0.0, later_spread))};
  }
  return out;
}

}  // namespace

std::vector<Smoothed> smooth(std::span<const Reading> readings,
                             std::span<const double> step_sd_rad) {
  if (readings.empty()) return {};
  std::vector<double> variance(readings.size());
  for (std::size_t k = 0; k < readings.size(); ++k) {
    variance[k] = readings[k].se_rad * readings[k].se_rad;
  }
  std::vector<Smoothed> result = smooth_once(readings, step_sd_rad, variance);
  for (int round = 0; round < 3; ++round) {
    for (std::size_t k = 0; k < readings.size(); ++k) {
      if (!readings[k].given) continue;
      const double se2 = readings[k].se_rad * readings[k].se_rad;
      const double expected = std::sqrt(se2 + result[k].se_rad * result[k].se_rad);
      const double z = std::abs(readings[k].value_rad - result[k].value_rad) / expected;
      variance[k] = se2 * std::max(1.0, z / 2.5);
    }
    result = smooth_once(readings, step_sd_rad, variance);
  }
  return result;
}

}  // namespace rhumb::timeline
