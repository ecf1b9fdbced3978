#include "statistics/cusum.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

namespace rhumb::statistics {

std::optional<CusumDesign> cusum_design(double acceptable, double unacceptable, double false_alarm,
                                        double missed) {
  const auto is_risk = [](double r) { return r > 0.0 && r < 0.5; };
  if (!(acceptable > 0.0) || !(acceptable < unacceptable) || !(unacceptable < 1.0) ||
      !is_risk(false_alarm) || !is_risk(missed)) {
    return std::nullopt;
  }
  const double p = std::log(unacceptable / acceptable);
  const double q = std::log((1.0 - acceptable) / (1.0 - unacceptable));
  return CusumDesign{q / (p + q), std::log((1.0 - missed) / false_alarm) / (p + q),
                     std::log((1.0 - false_alarm) / missed) / (p + q)};
}

CusumPath cusum_path(std::span<const double> failures, const CusumDesign& design) {
  CusumPath path;
  double sum = 0.0;
  double chart = 0.0;
  for (std::size_t i = 0; i < failures.size(); ++i) {
    const double move = failures[i] - design.step;
    sum += move;
    chart = std::max(0.0, chart + move);
    path.cumulative.push_back(sum);
    path.chart.push_back(chart);
    if (chart >= design.upper_limit) {
      path.signals.push_back(i);
      chart = 0.0;
    }
    const bool open = !path.accepted && !path.rejected;
    if (open && sum <= -design.lower_limit) path.accepted = i;
    if (open && sum >= design.upper_limit) path.rejected = i;
  }
  return path;
}

double signal_probability(const CusumDesign& design, double rate, std::size_t cases) {
  // A state is what happened since the chart last stood at 0: (cases, failures among them).
  using State = std::pair<std::size_t, std::size_t>;
  std::map<State, double> now{{State{0, 0}, 1.0}};
  double signalled = 0.0;
  for (std::size_t i = 0; i < cases; ++i) {
    std::map<State, double> next;
    for (const auto& [state, weight] : now) {
      for (const bool failed : {false, true}) {
        const State to{state.first + 1, state.second + (failed ? 1 : 0)};
        const double share = weight * (failed ? rate : 1.0 - rate);
        const double chart =
            static_cast<double>(to.second) - design.step * static_cast<double>(to.first);
        if (chart >= design.upper_limit) {
          signalled += share;
        } else {
          next[chart <= 0.0 ? State{0, 0} : to] += share;
        }
      }
    }
    now = std::move(next);
  }
  return signalled;
}

TwoSidedCusum tabular_cusum(std::span<const double> values, double target, double allowance) {
  TwoSidedCusum sums;
  double upper = 0.0;
  double lower = 0.0;
  for (const double x : values) {
    upper = std::max(0.0, upper + x - target - allowance);
    lower = std::max(0.0, lower + target - allowance - x);
    sums.upper.push_back(upper);
    sums.lower.push_back(lower);
  }
  return sums;
}

}  // namespace rhumb::statistics
