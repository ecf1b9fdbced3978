// Rows between the pictures of a fast recording that are looked at.
#include "analyze/skipped.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "angle/angle.h"

using namespace rhumb::analyze;
using rhumb::angle::rad_from_deg;
using rhumb::outcome::Interval;
using rhumb::outcome::LensState;
using rhumb::outcome::TimelineRow;

namespace {

constexpr double hz = 60.0;
constexpr double half_width_rad = 0.01;

// An eye that drifts and turns smoothly, and a lens in it.
TimelineRow row_at(std::int64_t frame, double axis_rad, LensState lens = LensState::New) {
  TimelineRow row;
  row.frame = frame;
  row.time_s = static_cast<double>(frame) / hz;
  row.lens = lens;
  row.eye_found = true;
  const double turn_rad = 0.05 * std::sin(2.0 * std::numbers::pi * row.time_s);
  row.eye_rotation_rad = turn_rad;
  row.limbus_px = {400.0 + 60.0 * row.time_s, 300.0};
  row.limbus_radius_px = 200.0;
  row.pose.found = true;
  row.pose.rotation_rad = turn_rad;
  row.pose.offset_px = row.limbus_px;
  row.pose.picture_from_atlas << 200.0 * std::cos(turn_rad), 200.0 * std::sin(turn_rad),
      200.0 * std::sin(turn_rad), -200.0 * std::cos(turn_rad);
  if (lens != LensState::None) {
    const double axis = rhumb::angle::wrap_axis(axis_rad);
    row.axis = Interval{axis, axis - half_width_rad, axis + half_width_rad};
    row.confidence = 0.9;
  }
  return row;
}

// Every other frame from 0 to 18 is looked at; gives the row of 9, between 8 and 10.
template <typename Rows>
TimelineRow ninth(const Rows& row_of) {
  std::vector<TimelineRow> rows;
  std::vector<SkippedFrame> skipped;
  for (std::int64_t frame = 0; frame <= 18; ++frame) {
    if (frame % 2 == 0)
      rows.push_back(row_of(frame));
    else
      skipped.push_back({frame, static_cast<double>(frame) / hz, frame == 9});
  }
  const auto all = with_skipped(rows, skipped, rad_from_deg(20.0));
  REQUIRE(all.size() == 19);
  for (std::size_t k = 0; k < all.size(); ++k) {
    REQUIRE(all[k].frame == static_cast<std::int64_t>(k));
    REQUIRE(all[k].looked_at == (k % 2 == 0));
  }
  return all[9];
}

int looked_at(double rate_hz, const rhumb::casefile::Case& stated = {}, bool every = false,
              int key_every = 1000000) {
  PictureChoice choice(stated, every);
  int count = 0;
  for (int k = 0; k < static_cast<int>(2.0 * rate_hz); ++k)
    count += choice.looks_at(k / rate_hz, k % key_every == 0) ? 1 : 0;
  return count;
}

}  // namespace

TEST_CASE("All pictures are looked at up to 30 a second, and 25 to 40 a second above 45") {
  CHECK(looked_at(25.0) == 50);
  CHECK(looked_at(30.0) == 60);
  CHECK(looked_at(50.0) == 50);
  CHECK(looked_at(59.94) == 60);
  CHECK(looked_at(60.0) == 60);
  CHECK(looked_at(120.0) == 80);
  CHECK(looked_at(60.0, {}, true) == 120);
}

TEST_CASE("Key frames and pictures marked by hand are always looked at") {
  CHECK(looked_at(60.0, {}, false, 3) > looked_at(60.0));
  rhumb::casefile::Case stated;
  stated.anchors.push_back({1.0 + 1.0 / 60.0, "", {}, {}, {}, 0});  // frame 61, passed over else
  PictureChoice choice(stated, false);
  PictureChoice without({}, false);
  bool marked = false;
  bool unmarked = true;
  for (int k = 0; k < 120; ++k) {
    const bool looks = choice.looks_at(k / hz, k == 0);
    const bool looks_without = without.looks_at(k / hz, k == 0);
    if (k == 61) marked = looks;
    if (k == 61) unmarked = looks_without;
  }
  CHECK(marked);
  CHECK_FALSE(unmarked);
}

TEST_CASE("A row between lies on the smooth course of eye and lens") {
  // A lens that speeds up evenly: cubics with difference tangents give parabolas exactly.
  const auto axis_at = [](double t) { return rad_from_deg(10.0 + 40.0 * t + 90.0 * t * t); };
  const TimelineRow row = ninth(
      [&](std::int64_t frame) { return row_at(frame, axis_at(static_cast<double>(frame) / hz)); });
  const double t = 9.0 / hz;
  REQUIRE(row.axis);
  CHECK(row.axis->value_rad == Approx(axis_at(t)).margin(1e-12));
  CHECK(*row.deviation_rad == Approx(axis_at(t) - rad_from_deg(20.0)).margin(1e-12));
  const double turned = axis_at(10.0 / hz) - axis_at(8.0 / hz);
  CHECK(row.axis->high_rad - row.axis->value_rad ==
        Approx(std::hypot(half_width_rad, 0.5 * turned)).margin(1e-12));
  CHECK(row.confidence == 0.9);
  CHECK(row.damaged);
  CHECK(*row.eye_rotation_rad ==
        Approx(0.05 * std::sin(2.0 * std::numbers::pi * t)).margin(rad_from_deg(0.001)));
  CHECK(row.limbus_px.x() == Approx(400.0 + 60.0 * t));
  CHECK(row.pose.picture_from({0.0, 0.0}).x() == Approx(400.0 + 60.0 * t));
  CHECK(row.pose.rotation_rad == Approx(*row.eye_rotation_rad));
}

TEST_CASE("A row between crosses 180 degrees") {
  const TimelineRow row = ninth([&](std::int64_t frame) {
    return row_at(frame, rad_from_deg(180.0 + 0.5 * (static_cast<double>(frame) - 9.4)));
  });
  REQUIRE(row.axis);
  CHECK(rhumb::angle::deg_from_rad(row.axis->value_rad) == Approx(179.8));
}

TEST_CASE("A row between says less where its neighbours do") {
  // A lens that is gone, or that another has replaced.
  const TimelineRow gone = ninth([](std::int64_t frame) {
    return row_at(frame, 1.0, frame > 8 ? LensState::None : LensState::New);
  });
  CHECK_FALSE(gone.axis);
  CHECK(gone.eye_found);
  CHECK_FALSE(gone.why_not.empty());
  const TimelineRow replaced = ninth([](std::int64_t frame) {
    return row_at(frame, 1.0, frame > 8 ? LensState::New : LensState::Previous);
  });
  CHECK_FALSE(replaced.axis);
  // A lens that leaps may be anywhere between.
  const TimelineRow leaps =
      ninth([](std::int64_t frame) { return row_at(frame, frame > 8 ? 1.3 : 1.0); });
  CHECK_FALSE(leaps.axis);
  // After a jerk of the eye it is at the one place or at the other.
  const TimelineRow jerks = ninth([](std::int64_t frame) {
    TimelineRow row = row_at(frame, 1.0);
    if (frame > 8) *row.eye_rotation_rad += rad_from_deg(8.0);
    return row;
  });
  CHECK_FALSE(jerks.eye_found);
  CHECK_FALSE(jerks.axis);
}

TEST_CASE("A row beside a jerk of the eye doesn't swing with it") {
  const TimelineRow row = ninth([](std::int64_t frame) {
    TimelineRow still = row_at(0, 1.0);
    still.frame = frame;
    still.time_s = static_cast<double>(frame) / hz;
    if (frame > 10) *still.eye_rotation_rad += rad_from_deg(8.0);
    return still;
  });
  REQUIRE(row.eye_found);
  CHECK(*row.eye_rotation_rad == Approx(0.0).margin(1e-12));
  CHECK(row.axis);
}

TEST_CASE("Rows beyond the first and the last that were looked at repeat them") {
  const std::vector<TimelineRow> rows{row_at(1, 1.0), row_at(3, 1.1)};
  const auto all = with_skipped(rows, {{0, 0.0, false}, {4, 4.0 / hz, false}}, std::nullopt);
  REQUIRE(all.size() == 4);
  CHECK(all[0].frame == 0);
  CHECK(all[0].axis->value_rad == 1.0);
  CHECK(all[3].frame == 4);
  CHECK(all[3].axis->value_rad == 1.1);
  CHECK(with_skipped({}, {{0, 0.0, false}}, std::nullopt).empty());
}
