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

}  // namespace

TEST_CASE("a new lens that lies where the previous one lay may be that one", "[analyze]") {
  const Episode previous = lying(LensState::Previous, {20.0, 179.0});
  CHECK(analyze::may_be_seen_again({previous, lying(LensState::New, {1.0, 60.0})}));
  CHECK_FALSE(analyze::may_be_seen_again({previous, lying(LensState::New, {25.0, 179.0})}));
  CHECK_FALSE(analyze::may_be_seen_again({lying(LensState::New, {179.0})}));
  CHECK_FALSE(analyze::may_be_seen_again({previous, lying(LensState::New, {})}));
  CHECK_FALSE(analyze::may_be_seen_again({}));
}
