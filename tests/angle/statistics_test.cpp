// Directional statistics against published data sets and their published values.
#include "angle/statistics.h"

#include <rapidcheck.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "angle/angle.h"

namespace {

using namespace rhumb::angle;

std::vector<double> radians(const std::vector<double>& degrees) {
  std::vector<double> all;
  for (const double value : degrees) {
    all.push_back(rad_from_deg(value));
  }
  return all;
}

// Davis, Statistics and Data Analysis in Geology, 1986: glacial striations in Finland, 51
// directions, as printed in the documentation of the R package tectonicr.
const std::vector<double> finland{23,  27,  53,  58,  64,  83,  85,  88,  93,  99,  100, 105, 113,
                                  113, 114, 117, 121, 123, 125, 126, 126, 126, 127, 127, 128, 128,
                                  129, 132, 132, 132, 134, 135, 137, 144, 145, 145, 146, 153, 155,
                                  155, 155, 157, 163, 165, 171, 172, 179, 181, 186, 190, 212};

// Fisher 1993, Appendix B2: orientations of 133 feldspar laths in basalt, from the R package
// `circular` (fisherB2).
const std::vector<double> laths{
    176, 162, 49,  174, 174, 49,  54,  63,  59,  61,  66,  104, 97,  58,  121, 5,   178, 3,   168,
    0,   18,  39,  140, 63,  55,  170, 169, 37,  152, 73,  53,  176, 72,  170, 113, 56,  87,  161,
    164, 21,  50,  6,   59,  140, 54,  64,  56,  38,  61,  143, 51,  144, 148, 44,  60,  98,  86,
    145, 38,  168, 39,  134, 68,  57,  129, 68,  132, 82,  54,  119, 131, 50,  93,  160, 127, 124,
    65,  108, 52,  61,  86,  37,  132, 83,  163, 58,  144, 29,  80,  172, 144, 138, 10,  45,  137,
    11,  145, 103, 69,  124, 54,  121, 1,   39,  111, 153, 13,  5,   5,   107, 104, 39,  133, 36,
    63,  4,   21,  51,  30,  52,  90,  143, 13,  50,  109, 12,  170, 5,   14,  91,  132, 12,  1};

}  // namespace

TEST_CASE("striations as directions") {
  const auto all = describe_meridians(radians(finland)).value();
  CHECK(all.n == 51);
  CHECK(deg_from_rad(all.mean_rad) == Approx(129.1903).margin(5e-5));
  CHECK(all.resultant == Approx(0.80037).margin(5e-6));  // tectonicr's documentation prints 0.800
  CHECK(all.kappa == Approx(2.8758).margin(5e-5));       // maximum likelihood, by R
  CHECK(deg_from_rad(all.circular_sd_rad) == Approx(38.237).margin(5e-4));
}

TEST_CASE("striations as axes") {
  const auto all = describe_axes(radians(finland)).value();
  CHECK(deg_from_rad(all.mean_rad) == Approx(134.3692).margin(5e-5));
  CHECK(all.resultant == Approx(0.46629).margin(5e-6));
  CHECK(all.kappa == Approx(1.0572).margin(5e-5));
  CHECK(deg_from_rad(all.circular_sd_rad) == Approx(35.388).margin(5e-4));
  CHECK(all.rayleigh_z == Approx(11.089).margin(5e-4));
}

TEST_CASE("the axial mean of 35 and 355 is 15") {
  // Worked in the vignette of the R package tectonicr; the arithmetic mean would be 195.
  CHECK(deg_from_rad(mean_axis(radians({35, 355})).value()) == Approx(15.0));
}

TEST_CASE("feldspar laths have no significant common axis") {
  REQUIRE(laths.size() == 133);
  const auto all = describe_axes(radians(laths)).value();
  CHECK(all.resultant == Approx(0.11868).margin(5e-6));
  CHECK(deg_from_rad(all.mean_rad) == Approx(35.947).margin(5e-4));
  CHECK(all.rayleigh_z == Approx(1.873).margin(5e-4));
  CHECK(all.rayleigh_p == Approx(0.1537).margin(5e-4));
}

TEST_CASE("pebbles have no significant common axis") {
  // Mardia 1972, Table 1.6 (Fisher 1993, B8): horizontal axes of 100 outwash pebbles, in classes of
  // 20 degrees.
  const std::vector<std::pair<double, int>> classes{
      {0, 16}, {20, 13}, {40, 9}, {60, 14}, {80, 9}, {100, 14}, {120, 12}, {140, 6}, {160, 7}};
  std::vector<double> pebbles;
  for (const auto& [deg, count] : classes) {
    pebbles.insert(pebbles.end(), static_cast<std::size_t>(count), deg);
  }
  const auto all = describe_axes(radians(pebbles)).value();
  CHECK(all.n == 100);
  CHECK(all.resultant == Approx(0.06868).margin(5e-6));
  CHECK(deg_from_rad(all.mean_rad) == Approx(47.872).margin(5e-4));
  CHECK(all.rayleigh_z == Approx(0.4716).margin(5e-5));
  CHECK(all.rayleigh_p == Approx(0.625).margin(1e-3));
}

TEST_CASE("axes about the horizontal average to the horizontal") {
  const auto all = describe_axes(radians({178, 2, 5, 175, 179, 1, 3, 177})).value();
  CHECK(std::abs(wrap_deviation(all.mean_rad)) < 1e-12);  // the arithmetic mean would be 90
  CHECK(all.resultant == Approx(0.99407).margin(5e-6));
  CHECK(deg_from_rad(all.circular_sd_rad) == Approx(3.124).margin(5e-4));
  CHECK(all.kappa == Approx(84.585).margin(5e-4));
}

TEST_CASE("nothing, one axis, and axes that cancel") {
  CHECK_FALSE(describe_axes({}));
  const auto one = describe_axes(radians({33})).value();
  CHECK(one.circular_sd_rad == Approx(0.0).margin(1e-9));
  CHECK(deg_from_rad(one.mean_rad) == Approx(33.0));
  const auto none = describe_axes(radians({10, 100})).value();
  CHECK(none.resultant == 0.0);
  CHECK(none.rayleigh_p == 1.0);
  CHECK_FALSE(mean_axis(radians({10, 100})));
}

TEST_CASE("for a tight cluster the circular standard deviation is the usual one") {
  // With n in the denominator; the difference is of third order in the spread.
  const std::vector<double> offsets{-1e-6, 0.0, 2e-6, 5e-6, -3e-6};
  double mean = 0.0;
  double squares = 0.0;
  for (const double x : offsets) {
    mean += x / 5.0;
    squares += x * x / 5.0;
  }
  const double usual = std::sqrt(squares - mean * mean);
  std::vector<double> axes;
  for (const double x : offsets) {
    axes.push_back(3.1415 + x);
  }
  CHECK(describe_axes(axes)->circular_sd_rad == Approx(usual).epsilon(1e-4));
}

TEST_CASE("the ratio of Bessel functions is that of the C++ library, and its inverse undoes it") {
  // std::cyl_bessel_i of ISO/IEC 14882:2017.
  for (const double kappa : {1e-6, 0.01, 0.5, 1.0, 2.0, 5.0, 20.0, 100.0, 299.0, 301.0, 600.0}) {
    const double library = std::cyl_bessel_i(1.0, kappa) / std::cyl_bessel_i(0.0, kappa);
    CHECK(resultant_of_kappa(kappa) == Approx(library).epsilon(1e-10));
    CHECK(kappa_of_resultant(resultant_of_kappa(kappa)) == Approx(kappa).epsilon(1e-6));
  }
  CHECK(kappa_of_resultant(0.0) == 0.0);
  CHECK(std::isinf(kappa_of_resultant(1.0)));
}

TEST_CASE("turning all axes turns their mean and changes nothing else; half turns change nothing") {
  CHECK(rc::check("turns", [] {
    const auto raw =
        *rc::gen::nonEmpty(rc::gen::container<std::vector<int>>(rc::gen::inRange(-40000, 40000)));
    const double turn = static_cast<double>(*rc::gen::inRange(-40000, 40000)) * 1e-3;
    std::vector<double> axes;
    std::vector<double> turned;
    for (std::size_t i = 0; i < raw.size(); ++i) {
      axes.push_back(raw[i] * 1e-3);
      turned.push_back(axes.back() + turn + pi * (static_cast<double>(i % 3) - 1.0));
    }
    const auto before = *describe_axes(axes);
    const auto after = *describe_axes(turned);
    RC_ASSERT(std::abs(before.resultant - after.resultant) < 1e-9);
    RC_ASSERT(before.resultant >= 0.0 && before.resultant <= 1.0);
    RC_ASSERT(after.mean_rad >= 0.0 && after.mean_rad < pi);
    if (before.resultant > 1e-3) {
      RC_ASSERT(std::abs(wrap_deviation(after.mean_rad - before.mean_rad - turn)) < 1e-7);
    }
  }));
}
