#include "timeline/smoother.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

using namespace rhumb::timeline;

TEST_CASE("readings of a lens that cannot move average to their mean with error se over root n") {
  // Closed form of n equal readings of a constant (any textbook of statistics).
  std::vector<Reading> readings;
  for (int k = 0; k < 25; ++k) readings.push_back({true, k % 2 == 0 ? 0.51 : 0.49, 0.01});
  const std::vector<double> steps(readings.size(), 0.0);
  const auto smoothed = smooth(readings, steps);
  for (const Smoothed& value : smoothed) {
    CHECK(value.value_rad == Approx(0.5004).margin(1e-6));
    CHECK(value.se_rad == Approx(0.01 / 5.0).epsilon(1e-3));
  }
}

TEST_CASE("the error between two readings grows with the walk and is largest half way") {
  std::vector<Reading> readings(11);
  readings.front() = {true, 0.0, 1e-6};
  readings.back() = {true, 1.0, 1e-6};
  const std::vector<double> steps(readings.size(), 0.1);
  const auto smoothed = smooth(readings, steps);
  // Brownian bridge: variance s^2 t (T - t) / T, mean on the line (closed form).
  CHECK(smoothed[5].value_rad == Approx(0.5).margin(1e-6));
  CHECK(smoothed[5].se_rad == Approx(0.1 * std::sqrt(5.0 * 5.0 / 10.0)).epsilon(1e-4));
  CHECK(smoothed[2].se_rad < smoothed[5].se_rad);
}

TEST_CASE("one wild reading does not pull the others along") {
  std::vector<Reading> readings(21, Reading{true, 0.2, 0.01});
  readings[10].value_rad = 0.9;
  const std::vector<double> steps(readings.size(), 1e-4);
  CHECK(smooth(readings, steps)[10].value_rad == Approx(0.2).margin(0.012));
  CHECK(smooth({}, {}).empty());
}
