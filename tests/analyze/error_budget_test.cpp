// The parts of a deviation, on a lens placed at 47.5 and ended at 48.2 degrees, planned at 45.
#include "analyze/error_budget.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"

using namespace rhumb;
using namespace rhumb::analyze;
using angle::deg_from_rad;
using angle::rad_from_deg;

namespace {

outcome::Interval around_deg(double value, double half) {
  return {rad_from_deg(value), rad_from_deg(value - half), rad_from_deg(value + half)};
}

outcome::CaseOutcome placed_and_turned() {
  outcome::CaseOutcome out;
  out.planned_axis_rad = rad_from_deg(45.0);
  outcome::Episode episode;
  episode.lens = outcome::LensState::New;
  for (const double axis : {100.0, 47.5, 48.2}) {  // the first is far off: before it was placed
    outcome::StillStretch still;
    still.axis = around_deg(axis, 0.5);
    episode.still.push_back(still);
  }
  out.episodes.push_back(episode);
  outcome::FinalAxis final;
  final.axis = around_deg(48.2, 0.5);
  final.deviation = around_deg(3.2, 0.5);
  out.final = final;
  return out;
}

double deg(const std::optional<outcome::Interval>& part) {
  return part ? deg_from_rad(part->value_rad) : 0.0;
}

double sum_deg(const outcome::ErrorBudget& b) {
  return deg(b.reference_marking) + deg(b.axis_marking) + deg(b.alignment) +
         deg(b.rotation_after_placement);
}

}  // namespace

TEST_CASE("the parts of the deviation add up to the total, whichever the recording shows",
          "[analyze]") {
  const outcome::CaseOutcome outcome = placed_and_turned();
  for (const bool reference : {false, true})
    for (const bool target : {false, true}) {
      CAPTURE(reference, target);
      Tie tie;
      if (reference) tie.reference_marking = around_deg(-0.8, 0.3);
      if (target) tie.target_ink_rad = rad_from_deg(46.5);
      const outcome::ErrorBudget budget = error_budget(outcome, tie, rad_from_deg(0.3));
      CHECK(deg(budget.total) == Approx(3.2));
      CHECK(sum_deg(budget) == Approx(3.2));
      CHECK(deg(budget.rotation_after_placement) == Approx(0.7));
      CHECK(budget.reference_marking.has_value() == reference);
      CHECK(budget.axis_marking.has_value() == target);
      if (target) CHECK(deg(budget.axis_marking) == Approx(1.5));
      // 47.5 placed, 45 planned; less what the ink took.
      CHECK(deg(budget.alignment) == Approx(2.5 + (reference ? 0.8 : 0.0) - (target ? 1.5 : 0.0)));
    }
}

TEST_CASE("against ink in the same eye the zero meridian's error takes no part", "[analyze]") {
  Tie tie;
  const auto half_deg = [&] {
    const auto budget = error_budget(placed_and_turned(), tie, rad_from_deg(0.4));
    return deg_from_rad(budget.alignment->high_rad - budget.alignment->value_rad);
  };
  CHECK(half_deg() == Approx(0.5));
  tie.target_ink_rad = rad_from_deg(46.5);
  tie.target_ink_se_rad = rad_from_deg(0.2);
  CHECK(half_deg() == Approx(std::hypot(0.3, 1.96 * 0.2)).margin(0.001));
}

TEST_CASE("what all axes share drops out of the turn after placement", "[analyze]") {
  const auto half_deg = [](double common_deg) {
    const auto budget = error_budget(placed_and_turned(), Tie{}, rad_from_deg(common_deg));
    return deg_from_rad(budget.rotation_after_placement->high_rad -
                        budget.rotation_after_placement->value_rad);
  };
  CHECK(half_deg(0.0) == Approx(0.707).margin(0.001));  // two independent halves of 0.5
  CHECK(half_deg(0.4) == Approx(0.424).margin(0.001));  // 0.3 of each is its own
}

TEST_CASE("without a final or a plan there is no budget", "[analyze]") {
  outcome::CaseOutcome outcome = placed_and_turned();
  outcome.final->deviation.reset();
  CHECK_FALSE(error_budget(outcome, Tie{}, 0.0).total);
  outcome.final.reset();
  CHECK_FALSE(error_budget(outcome, Tie{}, 0.0).total);
}
