// Several references at once. The weighted mean and its standard error against the textbook formula
// (inverse-variance weights), worked by hand.
#include "analyze/zero_meridian.h"

#include <catch2/catch.hpp>

#include "angle/angle.h"

using namespace rhumb::analyze;
using rhumb::angle::deg_from_rad;
using rhumb::angle::rad_from_deg;
using rhumb::casefile::ReferenceKind;

namespace {

ZeroMeridian zero(ReferenceKind kind, double deg, double se_deg, bool relative = false) {
  return {kind, rad_from_deg(deg), rad_from_deg(se_deg), relative, {}};
}

}  // namespace

TEST_CASE("references are weighed by their uncertainties", "[analyze]") {
  // Weights 25 and 100 (one over 0.2 and 0.1, squared): (25 * 10.0 + 100 * 10.2) / 125 = 10.16,
  // standard error one over the root of 125 = 0.0894.
  const auto both = combine(
      std::vector{zero(ReferenceKind::Ink, 10.0, 0.2), zero(ReferenceKind::Photo, 10.2, 0.1)});
  REQUIRE(both);
  CHECK(deg_from_rad(both->rad) == Approx(10.16).margin(1e-6));
  CHECK(deg_from_rad(both->se_rad) == Approx(0.0894).margin(1e-4));
  CHECK(both->disagree_by_rad == 0.0);
  CHECK_FALSE(combine({}));
}

TEST_CASE("a disagreement is said and widens what it leaves", "[analyze]") {
  const auto apart = combine(
      std::vector{zero(ReferenceKind::Ink, 10.0, 0.1), zero(ReferenceKind::Photo, 12.0, 0.1)});
  REQUIRE(apart);
  CHECK(deg_from_rad(apart->disagree_by_rad) == Approx(1.0));
  CHECK(deg_from_rad(apart->se_rad) == Approx(1.0));
  // Within the 99 % point nothing is said: 0.35 apart, chi square 0.35^2 / 0.02 = 6.1 under 6.63.
  const auto near = combine(
      std::vector{zero(ReferenceKind::Ink, 10.0, 0.1), zero(ReferenceKind::Photo, 10.35, 0.1)});
  CHECK(near->disagree_by_rad == 0.0);
}

TEST_CASE("ink beside another reference tells how well it was placed", "[analyze]") {
  const auto both = combine(
      std::vector{zero(ReferenceKind::Photo, 30.0, 0.05), zero(ReferenceKind::Ink, 29.0, 1.0)});
  REQUIRE(both->reference_marking);
  // The photograph rules: the ink's marks lie a degree counter-clockwise of where they are stated.
  CHECK(deg_from_rad(both->reference_marking->value_rad) == Approx(1.0).margin(0.01));
  CHECK(deg_from_rad(both->reference_marking->high_rad - both->reference_marking->value_rad) ==
        Approx(1.96).margin(0.02));
  CHECK_FALSE(combine(std::vector{zero(ReferenceKind::Ink, 29.0, 1.0)})->reference_marking);
  // Two degrees apart with clear readings: that they disagree is no doubt about how far.
  const auto apart = combine(
      std::vector{zero(ReferenceKind::Photo, 31.0, 0.05), zero(ReferenceKind::Ink, 29.0, 0.15)});
  CHECK(apart->disagree_by_rad > 0.0);
  CHECK(deg_from_rad(apart->reference_marking->value_rad) == Approx(1.8).margin(0.01));
  CHECK(deg_from_rad(apart->reference_marking->high_rad) > 2.0);
  CHECK(deg_from_rad(apart->reference_marking->high_rad) < 2.5);
}

TEST_CASE("a lens's axis is taken modulo a half turn, and an unknown one takes no part",
          "[analyze]") {
  const auto turned = combine(std::vector{zero(ReferenceKind::Ink, 100.0, 0.2),
                                          zero(ReferenceKind::PreviousLens, -80.0, 0.2)});
  CHECK(deg_from_rad(turned->rad) == Approx(100.0));
  CHECK_FALSE(turned->relative);
  const auto lens_first = combine(std::vector{zero(ReferenceKind::PreviousLens, -80.0, 0.2),
                                              zero(ReferenceKind::Ink, 100.0, 0.2)});
  CHECK(deg_from_rad(lens_first->rad) == Approx(100.0));
  CHECK(lens_first->disagree_by_rad == 0.0);
  const auto unknown = combine(std::vector{zero(ReferenceKind::PreviousLens, -37.0, 0.01, true),
                                           zero(ReferenceKind::Ink, 100.0, 0.2)});
  CHECK(deg_from_rad(unknown->rad) == Approx(100.0));
  CHECK_FALSE(unknown->relative);
  CHECK(unknown->disagree_by_rad == 0.0);
  CHECK(combine(std::vector{zero(ReferenceKind::PreviousLens, -37.0, 0.01, true)})->relative);
}
