// Painted pupils, all invented: the expected values are what they were painted from.
#include <catch2/catch.hpp>
#include <cmath>

#include "analyze/refine.h"
#include "angle/angle.h"
#include "lens/drawn_patch.h"

using namespace rhumb;
using namespace rhumb::analyze;

namespace {

constexpr int frames = 60;
constexpr double axis_deg = 40.2;
constexpr std::size_t memory_bytes = 64U << 20U;

// A lens at rest whose path is right to the degree; what lies at its second end is up to
// `astray_deg` beside its own place, another way in each frame.
FineReading read_with(double astray_deg) {
  lens::PatchStore patches({}, memory_bytes);
  std::vector<double> time_s;
  FrameReading coarse;
  WindowReading windows;
  Window all;
  all.frame_count = frames;
  windows.windows.push_back(all);
  windows.current.emplace();
  windows.current->profile.weight = {std::vector<float>(radial_grid.count, 0.0F),
                                     std::vector<float>(radial_grid.count, 0.0F)};
  cv::RNG astray(3);
  for (int k = 0; k < frames; ++k) {
    const double beside = astray.uniform(-astray_deg, astray_deg);
    patches.append(lens_test::drawn_patch({axis_deg, axis_deg + 180.0 + beside}, {0.0, 0.0}, {},
                                          static_cast<std::uint64_t>(k + 1)));
    time_s.push_back(k / 30.0);
    coarse.path.phase.push_back(timeline::Phase::New);
    coarse.path.axis_deg.push_back(40);
    coarse.path.moving.push_back(false);
    coarse.path.evidence.push_back(4.0F);
    coarse.posterior.near_path.push_back(1.0F);
    coarse.covered.push_back(0.0F);
    coarse.centre.emplace_back(0.0, 0.0);
  }
  return refine(patches, time_s, windows, coarse, true, 1);
}

double worst_deg(const FineReading& reading) {
  double worst = 0.0;
  for (const FineAxis& frame : reading.frames)
    worst = std::max(worst, std::abs(angle::deg_from_rad(frame.axis_rad) - axis_deg));
  return worst;
}

}  // namespace

TEST_CASE("ends that keep to one axis are read together", "[analyze]") {
  const FineReading reading = read_with(0.0);
  REQUIRE(reading.current.both_ends);
  REQUIRE(reading.current.steady_share > 0.9);
  REQUIRE(worst_deg(reading) < 0.15);
}

TEST_CASE("of ends that do not turn together only the steadier one is read", "[analyze]") {
  const FineReading reading = read_with(3.5);
  REQUIRE_FALSE(reading.current.both_ends);
  // The end that lies still shows the axis; the other one is as clear.
  REQUIRE(reading.current.steady_share > 0.9);
  REQUIRE(worst_deg(reading) < 0.3);
}
