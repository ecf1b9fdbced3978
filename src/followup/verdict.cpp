#include "followup/verdict.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::followup {
namespace {

std::string size_of(double turn_rad) {
  return fmt::format("{:.1f}", std::abs(angle::deg_from_rad(turn_rad)));
}

std::string sense_of(double turn_rad) {
  if (size_of(turn_rad) == "0.0") return "";
  return turn_rad > 0.0 ? " counter-clockwise" : " clockwise";
}

}  // namespace

std::string turn_text(const outcome::Interval& turn) {
  const std::string value = size_of(turn.value_rad) + " degrees" + sense_of(turn.value_rad);
  const auto [least, most] = std::minmax({std::abs(turn.low_rad), std::abs(turn.high_rad)});
  if (turn.low_rad * turn.high_rad > 0.0)
    return fmt::format("{} ({} to {})", value, size_of(least), size_of(most));
  return fmt::format("{} ({}{} to {}{})", value, size_of(turn.low_rad), sense_of(turn.low_rad),
                     size_of(turn.high_rad), sense_of(turn.high_rad));
}

std::string verdict_of(const SeriesOutcome& series) {
  const VisitResult* last = nullptr;
  for (const VisitResult& visit : series.visits)
    if (visit.drift && &visit != &series.visits.front()) last = &visit;
  if (last)
    return fmt::format("Between {} and {} the lens turned by {}.", series.visits.front().label,
                       last->label, turn_text(*last->drift));
  return series.measured ? "No rotation between visits could be measured."
                         : "No axis could be measured in any photograph.";
}

}  // namespace rhumb::followup
