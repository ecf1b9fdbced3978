// What is taken off the axis: the wandering of a resting lens, where the iris bears witness of
// refraction.
#include "analyze/refraction.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"

using namespace rhumb;
using namespace rhumb::analyze;
using angle::rad_from_deg;

namespace {

struct Stay {
  FineReading fine;
  std::vector<double> time_s;
};

// Six seconds of a lens at 40 degrees, seen up to 0.3 degrees beside its place until it is washed
// out at three.
Stay wandering() {
  Stay stay;
  for (int k = 0; k < 150; ++k) {
    const double now = 0.04 * k;
    FineAxis axis;
    axis.phase = timeline::Phase::New;
    axis.given = true;
    axis.rests = k > 0;
    axis.seen_rad = rad_from_deg(40.0 + (now < 3.0 ? 0.3 * std::cos(2.0 * now) : 0.0));
    axis.axis_rad = axis.seen_rad;
    axis.own = {true, axis.seen_rad, rad_from_deg(0.02)};
    axis.ends[0] = {true, axis.seen_rad, rad_from_deg(0.02), 0.0};
    axis.step.since_s = k > 0 ? 0.04 : 0.0;
    stay.fine.frames.push_back(axis);
    stay.time_s.push_back(now);
  }
  return stay;
}

ChamberReading chamber_until_3s() {
  ChamberReading chamber;
  for (double now = 0.2; now < 6.0; now += 0.4) {
    chamber.time_s.push_back(now);
    chamber.bending.push_back(now < 3.0 ? 0.003 : 0.0);
  }
  return chamber;
}

}  // namespace

TEST_CASE("What wanders while the iris is bent is taken off a resting lens", "[analyze]") {
  Stay stay = wandering();
  take_off_refraction(chamber_until_3s(), stay.time_s, stay.fine);
  for (const FineAxis& axis : stay.fine.frames) {
    CHECK(axis.axis_rad == Approx(rad_from_deg(40.0)).margin(rad_from_deg(0.05)));
  }
  CHECK(stay.fine.frames[0].seen_rad == Approx(rad_from_deg(40.3)));
}

TEST_CASE("Without a witness the axis stays as it is seen", "[analyze]") {
  Stay stay = wandering();
  take_off_refraction({}, stay.time_s, stay.fine);
  for (const FineAxis& axis : stay.fine.frames) CHECK(axis.axis_rad == axis.seen_rad);
}

TEST_CASE("What is left of refraction counts less at rest, where it was taken off", "[analyze]") {
  Stay stay = wandering();
  stay.fine.frames[30].rests = false;
  const ChamberReading chamber = chamber_until_3s();
  const auto share = [&](const ChamberReading& witness, std::size_t frame) {
    return left_refraction_se(witness, stay.fine, stay.time_s, frame) /
           refraction_se(witness, stay.fine, stay.time_s, frame);
  };
  CHECK(share(chamber, 31) < 0.95);
  CHECK(share(chamber, 31) > 0.5);
  CHECK(share(chamber, 30) == Approx(1.0));
  CHECK(share({}, 31) == Approx(1.0));
}
