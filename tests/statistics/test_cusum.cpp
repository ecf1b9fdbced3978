#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "statistics/cusum.h"

using namespace rhumb::statistics;

TEST_CASE("design of a chart for failures", "[statistics]") {
  // Check values T42: computed by hand from Williams' formulas (formulas from memory).
  const auto five = cusum_design(0.05, 0.10, 0.1, 0.1);
  REQUIRE(five);
  CHECK(five->step == Approx(0.07236).margin(5e-6));
  CHECK(five->upper_limit == Approx(2.94055).margin(5e-6));
  CHECK(five->lower_limit == Approx(2.94055).margin(5e-6));
  const auto ten = cusum_design(0.10, 0.20, 0.1, 0.1);
  REQUIRE(ten);
  CHECK(ten->step == Approx(0.14524).margin(5e-6));
  CHECK(ten->upper_limit == Approx(2.70951).margin(5e-6));
  const auto two = cusum_design(0.02, 0.05, 0.1, 0.1);
  REQUIRE(two);
  CHECK(two->step == Approx(0.03282).margin(5e-6));
  CHECK(two->upper_limit == Approx(2.31926).margin(5e-6));
  CHECK_FALSE(cusum_design(0.1, 0.1, 0.1, 0.1));
  CHECK_FALSE(cusum_design(0.1, 0.2, 0.6, 0.1));
  CHECK_FALSE(cusum_design(0.0, 0.2, 0.1, 0.1));
}

TEST_CASE("a sequence with two failures close together", "[statistics]") {
  // Check value T43: ten cases, the third, eighth and tenth fail; worked by hand.
  const std::vector<double> failures = {0, 0, 1, 0, 0, 0, 0, 1, 0, 1};
  const auto path = cusum_path(failures, {0.07236, 2.94055, 2.94055});
  CHECK(path.cumulative.back() == Approx(2.27642).margin(1e-4));
  CHECK(path.chart.back() == Approx(2.42113).margin(1e-4));
  CHECK(path.signals.empty());
  CHECK_FALSE(path.accepted);
  CHECK_FALSE(path.rejected);
}

TEST_CASE("a chart signals, starts again, and the plain sum decides once", "[statistics]") {
  const auto design = cusum_design(0.10, 0.20, 0.1, 0.1);
  REQUIRE(design);
  // Four failures in a row: 4 x 0.85476 = 3.41903 > 2.70951 at the fourth (3 x 0.85476 = 2.56 is
  // below).
  const std::vector<double> bad = {1, 1, 1, 1, 0, 1};
  const auto path = cusum_path(bad, *design);
  REQUIRE(path.signals == std::vector<std::size_t>{3});
  CHECK(path.chart[4] == 0.0);
  CHECK(path.chart[5] == Approx(1.0 - design->step));
  CHECK(path.rejected == 3);
  // Without failures the acceptable rate is accepted at the first n with n s >= h0: 2.70951 /
  // 0.14524 = 18.7.
  const auto good = cusum_path(std::vector<double>(30, 0.0), *design);
  CHECK(good.accepted == 18);
  CHECK(good.signals.empty());
}

TEST_CASE("probability of a signal: all sequences of eleven cases counted one by one",
          "[statistics]") {
  const auto design = cusum_design(0.10, 0.20, 0.1, 0.1);
  REQUIRE(design);
  const double rate = 0.3;
  double counted = 0.0;
  for (unsigned bits = 0; bits < (1U << 11U); ++bits) {
    std::vector<double> failures;
    double weight = 1.0;
    for (unsigned i = 0; i < 11; ++i) {
      const bool failed = ((bits >> i) & 1U) != 0;
      failures.push_back(failed ? 1.0 : 0.0);
      weight *= failed ? rate : 1.0 - rate;
    }
    if (!cusum_path(failures, *design).signals.empty()) counted += weight;
  }
  CHECK(signal_probability(*design, rate, 11) == Approx(counted).epsilon(1e-12));
}

TEST_CASE("probability of a signal within 50 cases agrees with a simulation in NumPy",
          "[statistics]") {
  // numpy.random.default_rng(1), 400,000 sequences a rate: 0.15114 (standard error 0.00057) and
  // 0.77490 (0.00066).
  const auto design = cusum_design(0.10, 0.20, 0.1, 0.1);
  REQUIRE(design);
  CHECK(signal_probability(*design, 0.10, 50) == Approx(0.15114).margin(3 * 0.00057));
  CHECK(signal_probability(*design, 0.20, 50) == Approx(0.77490).margin(3 * 0.00066));
}

TEST_CASE("tabular sums of the NIST/SEMATECH handbook, 6.3.2.3", "[statistics]") {
  // Target 325, allowance 0.3175 (printed with 0.318); data and results from memory, to 0.02 as the
  // printed rounding of the allowance adds up over eight steps.
  const std::vector<double> x = {324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125,
                                 324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250,
                                 327.825, 328.500, 326.675, 327.775, 326.875, 328.350};
  const auto sums = tabular_cusum(x, 325.0, 0.3175);
  CHECK(sums.upper[12] == Approx(3.007).margin(0.02));
  CHECK(sums.upper[13] == Approx(4.939).margin(0.02));
  CHECK(sums.upper[19] == Approx(19.031).margin(0.02));
  CHECK(sums.lower[3] == Approx(0.333).margin(0.02));
  CHECK(sums.lower[7] == Approx(0.714).margin(0.02));
  CHECK(sums.lower[19] == 0.0);
}
