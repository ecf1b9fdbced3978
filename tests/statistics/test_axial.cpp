// Checks of the interval: Student's t interval of a mean for a narrow bundle (computed with
// scipy.stats.t.interval, SciPy 1.10.1), and coverage by simulation.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "statistics/axial.h"

using namespace rhumb::statistics;

namespace {

constexpr double deg = std::numbers::pi / 180.0;

std::vector<double> radians(std::vector<double> degrees) {
  for (double& d : degrees) d *= deg;
  return degrees;
}

}  // namespace

TEST_CASE("the mean of axes across the wrap", "[statistics]") {
  // 35 and 355 have the axial mean 15, not 195 (worked example of the R package tectonicr).
  CHECK(axial_mean(radians({35, 355}))->mean_rad / deg == Approx(15.0));
  // Check value T41: mean 180, R 0.99407, circular SD 3.124; the arithmetic mean would be 90.
  const auto wrapped = axial_mean(radians({178, 2, 5, 175, 179, 1, 3, 177}));
  CHECK(std::abs(std::sin(wrapped->mean_rad)) < 1e-9);
  CHECK(wrapped->resultant == Approx(0.99407).margin(5e-6));
  CHECK(wrapped->circular_sd_rad / deg == Approx(3.124).margin(5e-4));
}

TEST_CASE("Finland's striations as axes", "[statistics]") {
  // 51 directions (Davis 1986, as the R package tectonicr prints them); check value T37 for axial
  // data: mean 134.3692, R 0.46629, circular SD 35.388.
  const auto result = axial_mean(radians(
      {23,  27,  53,  58,  64,  83,  85,  88,  93,  99,  100, 105, 113, 113, 114, 117, 121,
       123, 125, 126, 126, 126, 127, 127, 128, 128, 129, 132, 132, 132, 134, 135, 137, 144,
       145, 145, 146, 153, 155, 155, 155, 157, 163, 165, 171, 172, 179, 181, 186, 190, 212}));
  double mean = result->mean_rad / deg;
  if (mean < 0.0) mean += 180.0;
  CHECK(mean == Approx(134.3692).margin(5e-5));
  CHECK(result->resultant == Approx(0.46629).margin(5e-6));
  CHECK(result->circular_sd_rad / deg == Approx(35.388).margin(5e-4));
}

TEST_CASE("close to one direction the interval is the t interval of a mean", "[statistics]") {
  // scipy.stats.t.interval(0.95, 6, mean, sem) of -2.1 0.4 1.9 -0.7 3.2 0.1 -1.2 degrees.
  const auto result = axial_mean(radians({-2.1, 0.4, 1.9, -0.7, 3.2, 0.1, -1.2}));
  REQUIRE(result->interval_rad);
  CHECK(result->mean_rad / deg == Approx(0.22857142857142856).margin(1e-3));
  CHECK(result->interval_rad->low / deg == Approx(-1.4597169).margin(0.01));
  CHECK(result->interval_rad->high / deg == Approx(1.9168598).margin(0.01));
}

TEST_CASE("the interval covers the mean about as often as it says", "[statistics]") {
  // 2000 samples of 12 axes about 89 degrees (so that they wrap) with an SD of 8 degrees: 95 % +/-
  // 4 standard errors of the share (0.5 %) is 93 to 97 %.
  std::mt19937_64 random(20240607);
  std::normal_distribution<double> normal(89.0, 8.0);
  int covered = 0;
  for (int i = 0; i < 2000; ++i) {
    std::vector<double> sample(12);
    for (double& a : sample) a = normal(random) * deg;
    const auto result = axial_mean(sample);
    REQUIRE(result->interval_rad);
    const double off = std::remainder(89.0 * deg - result->mean_rad, std::numbers::pi);
    if (std::abs(off) <= result->interval_rad->high - result->mean_rad) ++covered;
  }
  CHECK(covered >= 1860);
  CHECK(covered <= 1940);
}

TEST_CASE("a mean that points nowhere has no interval", "[statistics]") {
  CHECK_FALSE(axial_mean(std::vector<double>{}));
  CHECK_FALSE(axial_mean(radians({10}))->interval_rad);
  CHECK_FALSE(axial_mean(radians({0, 90}))->interval_rad);
  CHECK_FALSE(axial_mean(radians({0, 45, 90, 135, 20}))->interval_rad);
}
