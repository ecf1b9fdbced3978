#include <catch2/catch.hpp>

#include "analyze/rows.h"
#include "angle/angle.h"

using namespace rhumb;
using outcome::Episode;
using outcome::LensState;

namespace {

Episode lying(LensState lens, const std::vector<double>& axes_deg) {
  Episode episode;
  episode.lens = lens;
  for (const double axis : axes_deg) {
    outcome::StillStretch still;
    still.axis.value_rad = angle::rad_from_deg(axis);
    episode.still.push_back(still);
  }
  return episode;
}

// A new lens at 30 pictures a second that lies at 10 degrees for two seconds and is then read
// wandering about `later_deg` for a second, never still.
std::vector<outcome::TimelineRow> turned_at_last(double later_deg) {
  std::vector<outcome::TimelineRow> rows;
  for (int k = 0; k < 90; ++k) {
    outcome::TimelineRow row;
    row.time_s = k / 30.0;
    row.lens = LensState::New;
    const double wander_deg = 0.1 * ((k / 5) % 2 == 0 ? k % 5 : 5 - k % 5) * (k % 10);
    const double axis = angle::rad_from_deg(k < 60 ? 10.0 : later_deg + wander_deg);
    row.axis = outcome::Interval{axis, axis - 0.01, axis + 0.01};
    rows.push_back(row);
  }
  return rows;
}

std::optional<outcome::FinalAxis> final_of(const std::vector<outcome::TimelineRow>& rows) {
  return analyze::make_final(rows, analyze::make_episodes(rows), std::nullopt);
}

}  // namespace

TEST_CASE("where a lens lay before it was turned is not where it ended", "[analyze]") {
  auto rows = turned_at_last(33.0);
  REQUIRE_FALSE(analyze::make_episodes(rows).front().still.empty());
  CHECK_FALSE(final_of(rows));
  // Turned back, or read elsewhere in a few pictures only, it ended where it lay.
  rows = turned_at_last(10.5);
  REQUIRE(final_of(rows));
  CHECK(std::abs(final_of(rows)->axis.value_rad - angle::rad_from_deg(10.0)) < 0.02);
  rows = turned_at_last(33.0);
  rows.resize(66);
  CHECK(final_of(rows));
}

TEST_CASE("a new lens that lies where the previous one lay may be that one", "[analyze]") {
  const Episode previous = lying(LensState::Previous, {20.0, 179.0});
  CHECK(analyze::may_be_seen_again({previous, lying(LensState::New, {1.0, 60.0})}));
  CHECK_FALSE(analyze::may_be_seen_again({previous, lying(LensState::New, {25.0, 179.0})}));
  CHECK_FALSE(analyze::may_be_seen_again({lying(LensState::New, {179.0})}));
  CHECK_FALSE(analyze::may_be_seen_again({previous, lying(LensState::New, {})}));
  CHECK_FALSE(analyze::may_be_seen_again({}));
}
