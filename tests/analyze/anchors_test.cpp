// What becomes of anchors in the timeline: evidence where nothing else can be read, carried,
// compared, named.
#include "analyze/anchors.h"

#include <catch2/catch.hpp>

#include "analyze/by_hand_case.h"

using namespace rhumb;
using namespace rhumb::analyze;
using namespace rhumb::analyze_test;
using Catch::Contains;

namespace {

double axis_deg(const outcome::TimelineRow& row) {
  return angle::deg_from_rad(row.axis->value_rad);
}
double half_deg(const outcome::TimelineRow& row) {
  return angle::deg_from_rad(row.axis->high_rad - row.axis->value_rad);
}

int resting(const ByHandCase& c) {
  int count = 0;
  for (const auto& row : c.rows) count += row.rests_on_anchor ? 1 : 0;
  return count;
}

}  // namespace

TEST_CASE("An anchor alone is enough where nothing else can be read", "[analyze]") {
  for (const auto superior :
       {casefile::Superior::Top, casefile::Superior::Bottom, casefile::Superior::Left})
    for (const bool mirrored : {false, true}) {
      ByHandCase c(superior, mirrored);
      c.stated.anchors = {c.lens_anchor(50, lens_deg, "r1")};
      const AnchorReport report = c.apply();
      CHECK(report.warnings.empty());
      REQUIRE(c.row(50).axis);
      CHECK(axis_deg(c.row(50)) == Approx(lens_deg).margin(1e-6));
      CHECK(angle::deg_from_rad(*c.row(50).deviation_rad) == Approx(-2.0).margin(1e-6));
      CHECK(c.row(50).rests_on_anchor);
      CHECK(c.row(50).lens == outcome::LensState::New);
      REQUIRE(report.readings.size() == 1);
      CHECK(report.readings[0].used);
      CHECK(report.evidence.size() == 1);
      const auto episodes = make_episodes(c.rows);
      const auto final = make_final(c.rows, episodes, rad_from_deg(72.0));
      REQUIRE(final);
      CHECK(final->rests_on_anchor);
      CHECK(angle::deg_from_rad(final->axis.value_rad) == Approx(lens_deg).margin(1e-6));
    }
}

TEST_CASE("The stated reading error is that of two clicks", "[analyze]") {
  ByHandCase c;
  c.stated.anchors = {c.lens_anchor(50, lens_deg)};
  c.apply();
  // sqrt(2) x 2 px over 2 x 0.41 x 200 px is 0.99 degrees; with refraction (0.34) and reference
  // (0.1) hypot is 1.05.
  CHECK(half_deg(c.row(50)) == Approx(1.96 * 1.05).margin(0.03));
  // Normal distribution: within 1 degree with probability erf(1 / (1.05 sqrt 2)) = 0.66 (tables: z
  // = 0.95, 0.658).
  CHECK(c.row(50).confidence == Approx(0.66).margin(0.01));
}

TEST_CASE("What can't be followed is held for half a second with growing doubt", "[analyze]") {
  ByHandCase c;
  c.stated.anchors = {c.lens_anchor(50, lens_deg)};
  const AnchorReport report = c.apply();
  CHECK(*report.readings[0].from_s == Approx(1.52));
  CHECK(*report.readings[0].to_s == Approx(2.48));
  CHECK(half_deg(c.row(60)) > half_deg(c.row(52)));
  CHECK(half_deg(c.row(52)) > half_deg(c.row(50)));
  CHECK(c.row(62).confidence < c.row(51).confidence);
  CHECK_THAT(report.readings[0].remark, Contains("could not be followed"));
}

TEST_CASE("Marks that can be followed carry the axis as far as the lens lies still", "[analyze]") {
  ByHandCase c;
  c.add_patches([](int k) { return k < 80 ? lens_deg : lens_deg + 40.0; });
  c.stated.anchors = {c.lens_anchor(30, lens_deg)};
  const AnchorReport report = c.apply();
  CHECK_THAT(report.readings[0].remark, Contains("were followed"));
  CHECK(*report.readings[0].from_s == 0.0);
  CHECK(*report.readings[0].to_s <= 79 / rate_hz + 0.5);
  for (int k = 0; k < 80; ++k) {
    REQUIRE(c.row(k).axis);
    CHECK(std::abs(axis_deg(c.row(k)) - lens_deg) < 0.4);
  }
  CHECK_FALSE(c.row(95).axis);
}

TEST_CASE("An eye that was not found is placed by its limbus and ink", "[analyze]") {
  ByHandCase c;
  casefile::Anchor anchor = c.lens_anchor(50, lens_deg);
  c.add_limbus(anchor, 50);
  c.add_ink(anchor, 50);
  c.lose_eye(0, frames);
  c.tie = {};  // nothing tied the picture to the eye either
  c.stated.anchors = {anchor};
  const AnchorReport report = c.apply();
  CHECK(report.warnings.empty());
  REQUIRE(c.row(50).axis);
  CHECK(axis_deg(c.row(50)) == Approx(lens_deg).margin(1e-3));
  CHECK(c.row(50).eye_found);
  CHECK(c.row(50).limbus_radius_px == Approx(radius_px).margin(1e-3));
  CHECK(make_final(c.rows, make_episodes(c.rows), std::nullopt));

  SECTION("and without them named") {
    ByHandCase bare;
    bare.stated.anchors = {bare.lens_anchor(50, lens_deg)};
    bare.lose_eye(0, frames);
    const AnchorReport said = bare.apply();
    REQUIRE(said.warnings.size() == 1);
    CHECK_THAT(said.warnings[0],
               Contains("2.00 s") && Contains("eye was not found") && Contains("limbus"));
    CHECK(resting(bare) == 0);
  }
}

TEST_CASE("A wrong anchor is named and not used", "[analyze]") {
  ByHandCase c;
  casefile::Anchor anchor = c.lens_anchor(50, lens_deg);
  std::string says;
  SECTION("outside the recording") {
    anchor.time_s = 60.0;
    says = "outside the recording";
  }
  SECTION("outside the picture") {
    anchor.lens_marks_px[0].x = 1400.0;
    says = "outside of the picture";
  }
  SECTION("far from the eye") {
    for (auto& point : anchor.lens_marks_px) point.x += 300.0;
    says = "far from the eye";
  }
  SECTION("both ends in one place") {
    anchor.lens_marks_px[1] = anchor.lens_marks_px[0];
    anchor.lens_marks_px[1].x += 9.0;
    says = "too near together";
  }
  SECTION("with the limbus of something else") {
    c.add_limbus(anchor, 50);
    for (auto& point : anchor.limbus_px) point.x += 60.0;
    says = "limbus points lie";
  }
  SECTION("with ink in another order") {
    c.stated.references[0].meridians_rad = {0.0, rad_from_deg(90.0)};
    c.add_ink(anchor, 50);
    says = "check their order";
  }
  SECTION("against the clear frames around it") {
    c.read_axis(30, 70, lens_deg + 12.0);
    says = "contradicts the clear frames around it by 12.0 degrees";
  }
  c.stated.anchors = {anchor};
  const AnchorReport report = c.apply();
  REQUIRE(report.warnings.size() == 1);
  CHECK_THAT(report.warnings[0], Contains("anchor at") && Contains(says));
  REQUIRE(report.readings.size() == 1);
  CHECK_FALSE(report.readings[0].used);
  CHECK_THAT(report.readings[0].remark, Contains("Not used"));
  CHECK(resting(c) == 0);
}

TEST_CASE("Two anchors that agree outweigh what the program read", "[analyze]") {
  ByHandCase c;
  c.read_axis(20, 90, lens_deg + 12.0);
  c.stated.anchors = {c.lens_anchor(40, lens_deg, "r1"), c.lens_anchor(70, lens_deg + 0.5, "r1")};
  const AnchorReport report = c.apply();
  CHECK(report.warnings.size() == 2);
  CHECK_THAT(report.warnings[0], Contains("12.0 degrees") && Contains("withdrawn"));
  for (const auto& row : c.rows)
    if (row.axis) CHECK(std::abs(axis_deg(row) - lens_deg) < 1.0);
  CHECK(c.row(25).why_not == "marks set by hand contradict what was read");
  const auto final = make_final(c.rows, make_episodes(c.rows), std::nullopt);
  REQUIRE(final);
  CHECK(final->rests_on_anchor);
}

TEST_CASE("Two contradicting anchors that do not agree are both named", "[analyze]") {
  ByHandCase c;
  c.read_axis(20, 90, lens_deg + 12.0);
  c.stated.anchors = {c.lens_anchor(40, lens_deg), c.lens_anchor(70, lens_deg - 20.0)};
  CHECK(c.apply().warnings.size() == 2);
  CHECK(resting(c) == 0);
}

TEST_CASE("A sharper reading of the program stands beside an anchor that agrees", "[analyze]") {
  ByHandCase c;
  c.read_axis(0, frames, lens_deg + 0.6);
  c.stated.anchors = {c.lens_anchor(50, lens_deg)};
  const AnchorReport report = c.apply();
  CHECK(report.warnings.empty());
  CHECK(resting(c) == 0);
  CHECK_FALSE(report.readings[0].used);
  CHECK_THAT(report.readings[0].remark, Contains("Agrees with what the program reads"));
}

TEST_CASE("An anchor says nothing about another lens", "[analyze]") {
  ByHandCase c;
  c.read_axis(0, 45, 10.0, outcome::LensState::Previous);
  for (int k = 0; k < 45; ++k) c.rows[static_cast<std::size_t>(k)].axis.reset();
  c.read_axis(46, 47, lens_deg);  // the new lens was seen once
  c.rows[46].axis.reset();
  c.stated.anchors = {c.lens_anchor(50, lens_deg)};
  c.apply();
  CHECK(c.row(50).lens == outcome::LensState::New);
  for (int k = 0; k < 45; ++k) CHECK_FALSE(c.row(k).axis);
}

TEST_CASE("Readers who marked the same are compared", "[analyze]") {
  ByHandCase c;
  c.add_patches([](int) { return lens_deg; });
  // r2 reads 1, 2 and 3 degrees more than r1. By hand: mean 2, SD 1, limits 2 +/- 1.96.
  c.stated.anchors = {
      c.lens_anchor(20, lens_deg - 0.5, "r1"), c.lens_anchor(20, lens_deg + 0.5, "r2"),
      c.lens_anchor(50, lens_deg - 1.0, "r1"), c.lens_anchor(50, lens_deg + 1.0, "r2"),
      c.lens_anchor(80, lens_deg - 1.5, "r1"), c.lens_anchor(80, lens_deg + 1.5, "r2")};
  const AnchorReport report = c.apply();
  REQUIRE(report.agreement.size() == 1);
  const outcome::ReaderAgreement& one = report.agreement[0];
  CHECK(one.first == "r1");
  CHECK(one.second == "r2");
  CHECK(one.pairs == 3);
  CHECK(angle::deg_from_rad(one.mean_rad) == Approx(2.0).margin(1e-6));
  CHECK(angle::deg_from_rad(one.largest_rad) == Approx(3.0).margin(1e-6));
  REQUIRE(one.limits);
  CHECK(angle::deg_from_rad(one.limits->low_rad) == Approx(0.04).margin(1e-3));
  CHECK(angle::deg_from_rad(one.limits->high_rad) == Approx(3.96).margin(1e-3));
}

TEST_CASE("Readers at odds by more than clicks err widen the interval", "[analyze]") {
  ByHandCase c;
  c.stated.anchors = {c.lens_anchor(50, lens_deg, "r1")};
  ByHandCase d;
  d.stated.anchors = {d.lens_anchor(50, lens_deg - 2.5, "r1"),
                      d.lens_anchor(50, lens_deg + 2.5, "r2")};
  c.apply();
  const AnchorReport report = d.apply();
  REQUIRE(report.warnings.size() == 1);
  CHECK_THAT(report.warnings[0], Contains("disagree with each other"));
  // Half of 5 degrees and the clicks' own error are beyond 4 degrees: nothing is given rather than
  // something vague.
  CHECK_FALSE(d.row(50).axis);
  ByHandCase e;
  e.stated.anchors = {e.lens_anchor(50, lens_deg - 0.5, "r1"),
                      e.lens_anchor(50, lens_deg + 0.5, "r2")};
  CHECK(e.apply().warnings.empty());
  CHECK(half_deg(e.row(50)) < half_deg(c.row(50)));
}

TEST_CASE("A recording without readings shows a clear frame", "[analyze]") {
  ByHandCase c;
  outcome::CaseOutcome outcome;
  outcome.rows = c.rows;
  outcome.rows[30].pose.ring_share = 0.9;
  note_anchors({}, outcome);
  REQUIRE(outcome.evidence.size() == 1);
  CHECK(outcome.evidence[0].frame == 30);
  CHECK(outcome.evidence[0].marks_atlas.empty());
  note_anchors({}, outcome);
  CHECK(outcome.evidence.size() == 1);
}
