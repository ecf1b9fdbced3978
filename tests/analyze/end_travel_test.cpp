// Both ends of a lens travel when it is turned.
#include "analyze/end_travel.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"

using namespace rhumb::analyze;
using rhumb::angle::rad_from_deg;
using rhumb::timeline::Phase;

namespace {

constexpr double lever = 0.45;

// What is read of two points, one at each end, about a centre that is supposed half way.
FineAxis seen(const Eigen::Vector2d& a, const Eigen::Vector2d& b) {
  FineAxis frame;
  frame.phase = Phase::New;
  frame.given = frame.end_a = frame.end_b = true;
  frame.centre = 0.5 * (a + b) + Eigen::Vector2d(0.004, -0.003);
  const Eigen::Vector2d to_a = a - frame.centre;
  const Eigen::Vector2d to_b = frame.centre - b;
  frame.ends[0] = {true, std::atan2(to_a.y(), to_a.x()), 1e-3, 1.0 / lever};
  frame.ends[1] = {true, std::atan2(to_b.y(), to_b.x()), 1e-3, -1.0 / lever};
  frame.seen_rad = 0.5 * (frame.ends[0].value_rad + frame.ends[1].value_rad);
  return frame;
}

Eigen::Vector2d at(double axis_deg, double sign) {
  const double rad = rad_from_deg(axis_deg);
  return {0.03 + sign * lever * std::cos(rad), -0.02 + sign * lever * std::sin(rad)};
}

// Rests of so many frames before and after a turn from 30 degrees.
FineReading turned(double by_deg, bool one_end_stays, int frames = 12) {
  FineReading fine;
  for (const double axis_deg : {30.0, 30.0 + by_deg}) {
    for (int k = 0; k < frames; ++k)
      fine.frames.push_back(
          seen(at(axis_deg, 1.0), one_end_stays ? at(50.0, -1.0) : at(axis_deg, -1.0)));
  }
  return fine;
}

}  // namespace

TEST_CASE("Both ends of a lens that turns about its middle travel alike") {
  const auto travel = end_travel(turned(20.0, false), Phase::New);
  REQUIRE(travel);
  CHECK(*travel > 0.95);
}

TEST_CASE("A lens that is pushed aside as it turns still moves at both ends") {
  // By 0.02 limbal radii, 0.1 mm, across a turn of 20 degrees.
  FineReading fine = turned(20.0, false);
  for (std::size_t k = 12; k < fine.frames.size(); ++k)
    fine.frames[k].centre += Eigen::Vector2d(0.02, 0.0);
  const auto travel = end_travel(fine, Phase::New);
  REQUIRE(travel);
  CHECK(*travel > 0.7);
}

TEST_CASE("A spot that is fixed to the eye is no end of a lens") {
  const auto travel = end_travel(turned(20.0, true), Phase::New);
  REQUIRE(travel);
  CHECK(*travel < 0.1);
}

TEST_CASE("What hardly turns, rests too briefly or is another lens says nothing") {
  CHECK_FALSE(end_travel(turned(4.0, false), Phase::New));
  CHECK_FALSE(end_travel(turned(8.0, false), Phase::New));  // 0.06 limbal radii at either end
  CHECK_FALSE(end_travel(turned(20.0, true, 7), Phase::New));
  CHECK_FALSE(end_travel(turned(20.0, true), Phase::Previous));
  CHECK_FALSE(end_travel({}, Phase::New));
}
