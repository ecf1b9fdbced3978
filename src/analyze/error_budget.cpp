#include "analyze/error_budget.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using outcome::Interval;
using outcome::LensState;

Interval difference(const Interval& from, const Interval& to, double common_half) {
  const double value = angle::wrap_deviation(to.value_rad - from.value_rad);
  // What both axes have in common (reference, tilt) drops out of their difference.
  const auto own = [&](const Interval& axis) {
    const double half = axis.high_rad - axis.value_rad;
    return std::max(0.0, half * half - common_half * common_half);
  };
  const double half = std::sqrt(own(from) + own(to)) + 1e-6;
  return {value, value - half, value + half};
}

Interval around(double value, double se) { return {value, value - 1.96 * se, value + 1.96 * se}; }

// The placement is the first still stretch that is followed by nothing but small turns: the last
// stretch from which no later one lies further than this.
constexpr double placement_reach_rad = 0.21;  // 12 degrees

const outcome::StillStretch* placement_of(const outcome::Episode& episode) {
  const outcome::StillStretch* placed = nullptr;
  for (auto it = episode.still.rbegin(); it != episode.still.rend(); ++it) {
    const double turn =
        angle::wrap_deviation(it->axis.value_rad - episode.still.back().axis.value_rad);
    if (std::abs(turn) > placement_reach_rad) break;
    placed = &*it;
  }
  return placed;
}

}  // namespace

outcome::ErrorBudget error_budget(const outcome::CaseOutcome& outcome, const Tie& tie,
                                  double common_half_rad) {
  outcome::ErrorBudget budget;
  if (!outcome.final || !outcome.final->deviation) return budget;
  const outcome::Episode* last = nullptr;
  for (const auto& episode : outcome.episodes) {
    if (episode.lens == LensState::New && !episode.still.empty()) last = &episode;
  }
  budget.total = outcome.final->deviation;
  if (last == nullptr) return budget;
  const outcome::StillStretch& placed = *placement_of(*last);
  budget.rotation_after_placement = difference(placed.axis, outcome.final->axis, common_half_rad);
  double left = budget.total->value_rad - budget.rotation_after_placement->value_rad;
  // Against ink that lies in the same eye the zero meridian takes no part; against the plan it
  // does.
  const double whole = placed.axis.high_rad - placed.axis.value_rad;
  const double own = std::sqrt(std::max(0.0, whole * whole - common_half_rad * common_half_rad));
  double half = whole;
  if (tie.reference_marking) {
    budget.reference_marking = tie.reference_marking;
    left -= tie.reference_marking->value_rad;
    half = std::hypot(own, tie.reference_marking->high_rad - tie.reference_marking->value_rad);
  }
  if (tie.target_ink_rad && outcome.planned_axis_rad) {
    const double marking = angle::wrap_deviation(*tie.target_ink_rad - *outcome.planned_axis_rad);
    budget.axis_marking = around(marking, tie.target_ink_se_rad);
    left -= marking;
    half = std::hypot(own, 1.96 * tie.target_ink_se_rad);
  }
  budget.alignment = Interval{left, left - half, left + half};
  return budget;
}

}  // namespace rhumb::analyze
