// How errors are distributed within an interval.
#include "analyze/error_law.h"

#include <catch2/catch.hpp>

using namespace rhumb::analyze;

TEST_CASE("The law of errors holds what its intervals say") {
  const double half_95 = 0.013;
  CHECK(error_within(half_95, half_95) == Approx(0.95).margin(1e-5));
  CHECK(error_within(half_share * half_95, half_95) == Approx(0.5).margin(1e-5));
}

TEST_CASE("The law of errors is an equal mixture of two normal distributions") {
  // Distribution functions by Python's statistics.NormalDist, of spreads 0.163553 and 0.607957.
  CHECK(error_within(0.4, 1.0) == Approx(0.737483).margin(1e-5));
  CHECK(error_within(1.5, 1.0) == Approx(0.993193).margin(1e-5));
  CHECK(error_within(0.008, 0.02) == Approx(error_within(0.4, 1.0)));
}
