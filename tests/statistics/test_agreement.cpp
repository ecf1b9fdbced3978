// Bland-Altman and repeatability against the data of Lancet 1986;i:307-310 (as the R package
// BlandAltmanLeh prints them) and against NumPy and SciPy 1.10.1 on the same data; Clopper-Pearson
// against scipy.stats.binomtest(k, n).proportion_ci(0.95, "exact").
#include <catch2/catch.hpp>
#include <cmath>
#include <cstddef>
#include <vector>

#include "statistics/agreement.h"
#include "statistics/proportion.h"
#include "statistics/summary.h"

using namespace rhumb::statistics;

namespace {

const std::vector<double> large_first = {494, 395, 516, 434, 476, 557, 413, 442, 650,
                                         433, 417, 656, 267, 478, 178, 423, 427};
const std::vector<double> large_second = {490, 397, 512, 401, 470, 611, 415, 431, 638,
                                          429, 420, 633, 275, 492, 165, 372, 421};
const std::vector<double> small_first = {512, 430, 520, 428, 500, 600, 364, 380, 658,
                                         445, 432, 626, 260, 477, 259, 350, 451};
const std::vector<double> small_second = {525, 415, 508, 444, 500, 625, 460, 390, 642,
                                          432, 420, 605, 227, 467, 268, 370, 443};

std::vector<double> minus(const std::vector<double>& a, const std::vector<double>& b) {
  std::vector<double> d;
  for (std::size_t i = 0; i < a.size(); ++i) d.push_back(a[i] - b[i]);
  return d;
}

std::vector<std::vector<double>> pairs(const std::vector<double>& a, const std::vector<double>& b) {
  std::vector<std::vector<double>> by_subject;
  for (std::size_t i = 0; i < a.size(); ++i) by_subject.push_back({a[i], b[i]});
  return by_subject;
}

}  // namespace

TEST_CASE("peak flow meters of 1986: bias and limits", "[statistics]") {
  BlandAltmanOptions as_printed;
  as_printed.multiplier = 2.0;
  const auto result = bland_altman(minus(large_first, small_first), as_printed);
  REQUIRE(result);
  // The paper prints -2.1, 38.8, -79.7 and 75.5 (from memory; recomputed from the data).
  CHECK(result->bias.value == Approx(-2.1176).margin(5e-5));
  CHECK(result->sd == Approx(38.7651).margin(5e-5));
  CHECK(result->lower_limit.value == Approx(-79.648).margin(5e-4));
  CHECK(result->upper_limit.value == Approx(75.413).margin(5e-4));
  CHECK(result->bias.low == Approx(-22.05).margin(5e-3));
  CHECK(result->bias.high == Approx(17.81).margin(5e-3));
  // The paper's interval of a limit rests on var = 3 s^2 / n, this one on the 1999 paper's
  // variance, which is a little wider at n = 17: -114.3..-45.1 and 40.9..110.1 (from memory) within
  // 1 litre/min.
  CHECK(result->lower_limit.low == Approx(-114.3).margin(1.0));
  CHECK(result->lower_limit.high == Approx(-45.1).margin(1.0));
  CHECK(result->upper_limit.low == Approx(40.9).margin(1.0));
  CHECK(result->upper_limit.high == Approx(110.1).margin(1.0));
}

TEST_CASE("peak flow meters: 1.96 SD limits and intervals agree with SciPy", "[statistics]") {
  const auto result = bland_altman(minus(large_first, small_first));
  REQUIRE(result);
  CHECK(result->limit_se == Approx(16.394905793653425).epsilon(1e-10));
  CHECK(result->lower_limit.low == Approx(-112.85155313930689).epsilon(1e-9));
  CHECK(result->lower_limit.value == Approx(-78.09590546711173).epsilon(1e-9));
  CHECK(result->lower_limit.high == Approx(-43.34025779491658).epsilon(1e-9));
  CHECK(result->upper_limit.low == Approx(39.10496367726951).epsilon(1e-9));
  CHECK(result->upper_limit.high == Approx(108.61625902165981).epsilon(1e-9));
  CHECK(result->bias.low == Approx(-22.04883769664288).epsilon(1e-9));
}

TEST_CASE("blood pressure of 1999: limits and their standard error from mean and SD",
          "[statistics]") {
  // Stat Methods Med Res 1999: n 85, mean -16.29, SD 19.61; limits -54.7 and 22.1 (from memory).
  // A list with exactly this mean and SD: two values at mean +/- a, the rest at the mean.
  const double n = 85.0;
  const double a = 19.61 * std::sqrt((n - 1.0) / 2.0);
  std::vector<double> differences(85, -16.29);
  differences[0] += a;
  differences[1] -= a;
  const auto result = bland_altman(differences);
  REQUIRE(result);
  CHECK(result->lower_limit.value == Approx(-54.73).margin(0.01));
  CHECK(result->upper_limit.value == Approx(22.15).margin(0.01));
  CHECK(result->limit_se == Approx(3.649).margin(5e-4));
}

TEST_CASE("repeatability of the two meters", "[statistics]") {
  const auto large = repeatability(pairs(large_first, large_second));
  const auto small = repeatability(pairs(small_first, small_second));
  REQUIRE(large);
  REQUIRE(small);
  CHECK(large->within_sd.value == Approx(15.307).margin(5e-4));
  CHECK(small->within_sd.value == Approx(19.911).margin(5e-4));
  CHECK(large->coefficient.value == Approx(42.43).margin(5e-3));
  CHECK(small->coefficient.value == Approx(55.19).margin(5e-3));
  // scipy.stats.chi2.ppf on 17 degrees of freedom.
  CHECK(large->within_sd.low == Approx(11.48593458423103).epsilon(1e-9));
  CHECK(large->within_sd.high == Approx(22.94690092738047).epsilon(1e-9));
}

TEST_CASE("repeatability leaves single readings out and takes unequal numbers", "[statistics]") {
  // By hand: subject one about 2 (1 + 0 + 1 = 2 on 2), subject two about 5.5 (0.5 on 1): sqrt(2.5 /
  // 3).
  const auto result = repeatability({{1, 2, 3}, {5, 6}, {99}});
  REQUIRE(result);
  CHECK(result->subjects == 2);
  CHECK(result->readings == 5);
  CHECK(result->within_sd.value == Approx(std::sqrt(2.5 / 3.0)));
  CHECK_FALSE(repeatability({{1}, {2}}));
  CHECK_FALSE(bland_altman(std::vector<double>{1.0, 2.0}));
}

TEST_CASE("Clopper-Pearson agrees with SciPy", "[statistics]") {
  struct Row {
    std::size_t k, n;
    double low, high;
  };
  for (const Row& r : {Row{0, 10, 0.0, 0.30849710781876294}, Row{10, 10, 0.6915028921812371, 1.0},
                       Row{3, 20, 0.03207093718554477, 0.37892682654529564},
                       Row{81, 100, 0.7193020420263279, 0.881556803867574}, Row{1, 1, 0.025, 1.0},
                       Row{1863, 2000, 0.919533584456086, 0.9421815235969736}}) {
    const auto share = clopper_pearson(r.k, r.n);
    REQUIRE(share);
    CHECK(share->low == Approx(r.low).margin(1e-10));
    CHECK(share->high == Approx(r.high).margin(1e-10));
  }
  CHECK_FALSE(clopper_pearson(0, 0));
  CHECK_FALSE(clopper_pearson(2, 1));
}

TEST_CASE("a straight line agrees with scipy.stats.linregress", "[statistics]") {
  const std::vector<double> x = {1, 2, 3, 4, 5, 6, 7, 8};
  const std::vector<double> y = {2.1, 1.7, 5, 3.2, 4.9, 7.7, 6.1, 9};
  const auto line = fit_line(x, y);
  REQUIRE(line);
  CHECK(line->intercept == Approx(0.6714285714285717));
  CHECK(line->slope.value == Approx(0.9535714285714285));
  CHECK(line->slope.low == Approx(0.4950645351267555).epsilon(1e-9));
  CHECK(line->slope.high == Approx(1.4120783220161015).epsilon(1e-9));
  CHECK_FALSE(fit_line(std::vector<double>{1, 1, 1}, std::vector<double>{1, 2, 3}));
  // numpy.quantile(y, [0.1, 0.25, 0.5])
  CHECK(quantile(y, 0.1) == Approx(1.98));
  CHECK(quantile(y, 0.25) == Approx(2.925));
  CHECK(median(y) == Approx(4.95));
}
