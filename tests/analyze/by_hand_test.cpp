// The geometry of marks set by hand, and how marks are followed.
#include "analyze/by_hand.h"

#include <catch2/catch.hpp>

#include "analyze/by_hand_case.h"
#include "analyze/follow.h"

using namespace rhumb;
using namespace rhumb::analyze;
using namespace rhumb::analyze_test;

TEST_CASE("A circle is fitted by its distances", "[analyze]") {
  // Gander, Golub and Strebel, BIT 1994;34:558-578, the six points of their first example (from
  // memory); the result was recomputed with NumPy: centre (4.7398, 2.9835), radius 4.7142, sum of
  // squares 1.2276.
  const std::vector<casefile::PointPx> points = {{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}};
  const auto circle = circle_through(points);
  REQUIRE(circle);
  CHECK(circle->centre_px.x() == Approx(4.7398).margin(2e-3));
  CHECK(circle->centre_px.y() == Approx(2.9835).margin(2e-3));
  CHECK(circle->radius_px == Approx(4.7142).margin(2e-3));
  CHECK(6.0 * circle->scatter_px * circle->scatter_px == Approx(1.2276).margin(2e-3));
  CHECK_FALSE(circle_through(std::vector<casefile::PointPx>{{0, 0}, {1, 1}, {2, 2}, {3, 3}}));
  CHECK_FALSE(circle_through(std::vector<casefile::PointPx>{{0, 0}, {1, 1}}));
}

TEST_CASE("Ink by hand gives meridian 0 as its marks' mean", "[analyze]") {
  const ByHandCase c;
  casefile::Anchor anchor;
  c.add_ink(anchor, 20, 1.5);
  const HandZero zero = zero_by_ink(anchor.ink_px, ink_meridians(c.stated), c.pose_at(20), {});
  // Clicked 1.5 degrees counter-clockwise of where the marks were stated: meridian 0 moves there.
  CHECK(angle::deg_from_rad(zero.zero_rad) == Approx(zero_deg - 1.5).margin(1e-6));
  CHECK(zero.worst_rad == Approx(0.0).margin(1e-9));
  // Two marks judged to 1 degree each and clicked to 2 of 220 pixels: hypot(1, 0.52) / sqrt(2), by
  // hand 0.81.
  CHECK(angle::deg_from_rad(zero.se_rad) == Approx(0.81).margin(0.02));
}

TEST_CASE("Limbus and ink by hand place an eye that was not found", "[analyze]") {
  for (const auto superior : {casefile::Superior::Top, casefile::Superior::Right})
    for (const bool mirrored : {false, true}) {
      ByHandCase c(superior, mirrored);
      casefile::Anchor anchor;
      anchor.time_s = 2.0;
      c.add_limbus(anchor, 50);
      c.add_ink(anchor, 50);
      c.lose_eye(0, frames);
      const auto hand =
          pose_by_hand(c.stated, anchor, c.pass.frames, 50, rad_from_deg(zero_deg), {});
      REQUIRE(hand);
      CHECK(hand->turn_from_ink);
      const eye::EyePose truth = c.pose_at(50);
      CHECK((hand->pose.picture_from_atlas - truth.picture_from_atlas).norm() < 1e-3);
      CHECK((hand->pose.offset_px - truth.offset_px).norm() < 1e-3);
      // Without ink and without neighbours only the limbus is known.
      anchor.ink_px.clear();
      CHECK_FALSE(pose_by_hand(c.stated, anchor, c.pass.frames, 50, 0.0, {})->pose.found);
      anchor.limbus_px.resize(4);
      CHECK_FALSE(pose_by_hand(c.stated, anchor, c.pass.frames, 50, 0.0, {}));
    }
}

TEST_CASE("The eye's turn is taken over from the frames beside", "[analyze]") {
  ByHandCase c;
  casefile::Anchor anchor;
  c.add_limbus(anchor, 50);
  c.lose_eye(45, 56);
  const auto hand = pose_by_hand(c.stated, anchor, c.pass.frames, 50, rad_from_deg(zero_deg), {});
  REQUIRE(hand);
  REQUIRE(hand->pose.found);
  CHECK_FALSE(hand->turn_from_ink);
  const double off = angle::deg_from_rad(hand->pose.rotation_rad - c.pose_at(50).rotation_rad);
  CHECK(std::abs(off) < 1.96 * angle::deg_from_rad(hand->turn_se_rad));
  CHECK(angle::deg_from_rad(hand->turn_se_rad) > 0.5);
}

TEST_CASE("Ink by hand ties the picture to the meridians", "[analyze]") {
  ByHandCase c;
  casefile::Anchor anchor;
  anchor.time_s = 0.8;
  c.add_ink(anchor, 20);
  c.stated.anchors = {anchor};
  outcome::ReferenceFinding finding;
  finding.kind = casefile::ReferenceKind::Ink;
  finding.statement = "Ink marks were not found.";

  SECTION("where the program found nothing") {
    Tie tie;
    tie.findings = {finding};
    tie_by_hand(c.stated, c.pass, tie);
    CHECK(tie.axes_can_be_given);
    CHECK(angle::deg_from_rad(tie.zero_rad) == Approx(zero_deg).margin(1e-6));
    CHECK(tie.findings[0].found);
    CHECK(tie.warnings.empty());
  }
  SECTION("in agreement it narrows, and hardly moves, what was found better") {
    c.tie.findings = {finding};
    const double before = c.tie.zero_se_rad;
    tie_by_hand(c.stated, c.pass, c.tie);
    CHECK(c.tie.zero_se_rad < before);
    CHECK(c.tie.warnings.empty());
  }
  SECTION("against what was found it stands, and is named") {
    c.tie.zero_rad = rad_from_deg(zero_deg + 8.0);
    tie_by_hand(c.stated, c.pass, c.tie);
    CHECK(angle::deg_from_rad(c.tie.zero_rad) == Approx(zero_deg).margin(1e-6));
    REQUIRE(c.tie.warnings.size() == 1);
    CHECK_THAT(c.tie.warnings[0], Catch::Contains("8.0 degrees"));
  }
  SECTION("marks in the wrong order do not count") {
    c.stated.references[0].meridians_rad = {0.0, rad_from_deg(90.0)};
    Tie tie;
    tie_by_hand(c.stated, c.pass, tie);
    CHECK_FALSE(tie.axes_can_be_given);
  }
}

TEST_CASE("Marks are followed while they lie still, and no further", "[analyze]") {
  ByHandCase c;
  // Creeps by a degree in two seconds, is turned by 30 degrees at frame 80.
  c.add_patches([](int k) { return k < 80 ? lens_deg + 0.02 * k : lens_deg + 32.0; });
  std::vector<double> time_s;
  for (const auto& seen : c.pass.frames) time_s.push_back(seen.time_s);
  const double along = rad_from_deg(lens_deg + 0.6 - zero_deg);
  const Eigen::Vector2d end(0.41 * std::cos(along), 0.41 * std::sin(along));
  const auto followed = follow_marks(c.pass.patches, time_s, 30, {end, -end});
  REQUIRE(followed.size() >= 75);
  CHECK(followed.back().frame < 80);
  for (const FollowedFrame& one : followed) {
    const double truth_deg = 0.02 * (static_cast<double>(one.frame) - 30.0);
    CHECK(std::abs(angle::deg_from_rad(one.turn_rad) - truth_deg) < 0.35);
  }
  // Nothing is there to follow 25 degrees beside the marks.
  const double beside = along + rad_from_deg(25.0);
  const Eigen::Vector2d nothing(0.41 * std::cos(beside), 0.41 * std::sin(beside));
  CHECK(follow_marks(c.pass.patches, time_s, 30, {nothing, -nothing}).size() <= 1);
}
