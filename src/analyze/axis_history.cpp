#include "analyze/axis_history.h"

#include <algorithm>
#include <cmath>

namespace rhumb::analyze {
namespace {

// Whether the path turns by more than its own degree about a frame, whatever state it claims.
bool path_turns(const std::vector<double>& path_axis, std::size_t k) {
  constexpr std::size_t reach = 4;
  const std::size_t from = k > reach ? k - reach : 0;
  const std::size_t to = std::min(path_axis.size() - 1, k + reach);
  const auto [low, high] =
      std::minmax_element(path_axis.begin() + static_cast<std::ptrdiff_t>(from),
                          path_axis.begin() + static_cast<std::ptrdiff_t>(to) + 1);
  return *high - *low > 0.026;  // 1.5 degrees
}

}  // namespace

AxisHistory axis_history(const Track& track, const std::vector<Solved>& solved, double scatter,
                         const std::vector<double>& path_axis_rad, std::span<const double> time_s) {
  AxisHistory out;
  out.readings.resize(track.frame.size());
  out.resting.assign(track.frame.size(), false);
  std::vector<double> steps(track.frame.size(), 0.0);
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    timeline::Reading& reading = out.readings[k];
    reading.given = solved[k].given;
    reading.value_rad = track.axis_rad[k] + solved[k].turn_rad;
    reading.se_rad = std::hypot(scatter * solved[k].se_rad, 2e-4);
    // A reading far from the path that the whole recording supports is clutter.
    if (std::abs(reading.value_rad - path_axis_rad[k]) > 0.07) reading.given = false;
    if (k == 0) continue;
    const double dt = std::max(1e-3, time_s[track.frame[k]] - time_s[track.frame[k - 1]]);
    const bool rests = track.resting[k] && track.resting[k - 1] && !path_turns(path_axis_rad, k);
    // A resting lens creeps by some tenths of a degree a second at most; a turned one moves at tens
    // of degrees, and jerks at more.
    out.resting[k] = rests;
    steps[k] = rests ? 0.004 * std::sqrt(dt) : 1.5 * dt + 0.02 * std::sqrt(dt);
  }
  out.smoothed = timeline::smooth(out.readings, steps);
  return out;
}

}  // namespace rhumb::analyze
