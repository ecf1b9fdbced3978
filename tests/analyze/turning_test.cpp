// The part of an interval that the turn of a lens makes. A frame is exposed some time between its
// stamp and the next one's: evenly spread over half the turn either way the standard deviation is
// 0.29 of the turn (of a uniform distribution); the program takes a quarter, up to a degree.
#include <catch2/catch.hpp>
#include <cmath>

#include "analyze/rows.h"
#include "angle/angle.h"

using namespace rhumb;
using namespace rhumb::analyze;

namespace {

// Half-width in degrees of the middle one of frames in which the lens turns by so much each.
double half_deg(double turn_deg) {
  constexpr std::size_t frames = 9;
  Pass pass{{}, lens::PatchStore(lens::PatchGeometry{}, 0), {}};
  FrameReading coarse{};
  FineReading fine{};
  for (std::size_t k = 0; k < frames; ++k) {
    SeenFrame seen;
    seen.index = static_cast<std::int64_t>(k);
    seen.time_s = 0.04 * static_cast<double>(k);
    seen.pose.found = true;
    seen.pose.picture_from_atlas = 200.0 * Eigen::Matrix2d::Identity();
    pass.frames.push_back(seen);
    FineAxis axis;
    axis.given = true;
    axis.phase = timeline::Phase::New;
    axis.axis_rad = angle::rad_from_deg(40.0 + turn_deg * static_cast<double>(k));
    axis.seen_rad = axis.axis_rad;
    axis.se_rad = 1e-4;
    axis.own = {true, axis.axis_rad, 1e-4};
    fine.frames.push_back(axis);
    coarse.posterior.near_path.push_back(1.0F);
    coarse.posterior.moving.push_back(0.0F);
    coarse.path.phase.push_back(axis.phase);
    coarse.path.evidence.push_back(3.0F);
  }
  const eye::EyeAtlas atlas{};
  Tie tie;
  tie.axes_can_be_given = true;
  const ChamberReading chamber{};
  const RowInputs inputs{pass, &atlas, 0.0, 0.0, coarse, fine, chamber, tie, false, true, {}, true};
  const auto rows = make_rows(inputs);
  REQUIRE(rows[frames / 2].axis);
  const auto& axis = *rows[frames / 2].axis;
  return angle::deg_from_rad(axis.high_rad - axis.value_rad);
}

}  // namespace

TEST_CASE("an interval grows with the turn from frame to frame", "[analyze]") {
  const double rest = half_deg(0.0);
  const auto part_deg = [rest](double turn_deg) {
    const double half = half_deg(turn_deg);
    return std::sqrt(half * half - rest * rest) / 1.96;
  };
  CHECK(part_deg(1.0) == Approx(0.25).epsilon(0.01));
  CHECK(part_deg(2.0) == Approx(0.5).epsilon(0.01));
  CHECK(part_deg(9.0) == Approx(0.25 * angle::deg_from_rad(0.07)).epsilon(0.01));
}
