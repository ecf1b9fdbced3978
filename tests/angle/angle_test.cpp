// Wrapping, and the sense in which angles count.
#include "angle/angle.h"

#include <rapidcheck.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

namespace {

using namespace rhumb::angle;

double near_angle() { return static_cast<double>(*rc::gen::inRange(-1'000'000, 1'000'000)) * 1e-4; }

bool same_modulo(double a, double b, double period) {
  return std::abs(std::remainder(a - b, period)) < 1e-9;
}

}  // namespace

TEST_CASE("angles count as ISO 8429 has it") {
  // ISO 8429:1986: 0 on the horizontal to the examiner's right, increasing counter-clockwise, 90
  // vertical; cylinder axes between 0 and 180. In a picture with y down, counter-clockwise is
  // towards smaller y.
  const double up_x = std::cos(rad_from_deg(90.0));
  const double up_y_down = -std::sin(rad_from_deg(90.0));
  CHECK(std::abs(up_x) < 1e-12);
  CHECK(up_y_down == Approx(-1.0));
  CHECK(deg_from_rad(wrap_axis(rad_from_deg(180.0))) == Approx(0.0).margin(1e-9));
  CHECK(deg_from_rad(wrap_axis(rad_from_deg(-10.0))) == Approx(170.0));
  CHECK(deg_from_rad(wrap_meridian(rad_from_deg(-10.0))) == Approx(350.0));
}

TEST_CASE("deviations and rotations take the short way, with the upper end closed") {
  const auto deviation = [](double from, double to) {
    return deg_from_rad(wrap_deviation(rad_from_deg(to - from)));
  };
  CHECK(deviation(178.0, 3.0) == Approx(5.0));
  CHECK(deviation(3.0, 178.0) == Approx(-5.0));
  CHECK(deviation(0.0, 90.0) == Approx(90.0));
  CHECK(deviation(90.0, 0.0) == Approx(90.0));
  CHECK(wrap_rotation(-pi) == Approx(pi));
  CHECK(wrap_rotation(3.0 * pi) == Approx(pi));
}

TEST_CASE("every wrap stays in its range, changes nothing modulo its period, and is done once") {
  CHECK(rc::check("wraps", [] {
    const double angle = near_angle();
    const double axis = wrap_axis(angle);
    RC_ASSERT(axis >= 0.0 && axis < pi && same_modulo(axis, angle, pi));
    const double meridian = wrap_meridian(angle);
    RC_ASSERT(meridian >= 0.0 && meridian < 2.0 * pi && same_modulo(meridian, angle, 2.0 * pi));
    const double deviation = wrap_deviation(angle);
    RC_ASSERT(deviation > -pi / 2.0 && deviation <= pi / 2.0 && same_modulo(deviation, angle, pi));
    const double rotation = wrap_rotation(angle);
    RC_ASSERT(rotation > -pi && rotation <= pi && same_modulo(rotation, angle, 2.0 * pi));
    RC_ASSERT(wrap_axis(axis) == axis);
    RC_ASSERT(wrap_deviation(deviation) == deviation);
  }));
}

TEST_CASE("a hair below zero does not become the period itself") {
  CHECK(wrap_axis(-1e-18) < pi);
  CHECK(wrap_meridian(-1e-18) < 2.0 * pi);
  CHECK(wrap_deviation(-pi / 2.0 - 1e-18) <= pi / 2.0);
}
