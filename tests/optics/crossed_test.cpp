// Sums of lenses with the error of what is stated of each.
#include "optics/crossed.h"

#include <array>

#include "near.h"

using namespace rhumb::optics;

TEST_CASE("Exact lenses give an exact sum - brainscape card 9441856 (SEEN)") {
  const std::array lenses{lens(0.0, 1.0, 180.0), lens(0.0, 2.0, 45.0)};
  const CrossedLenses sum = crossed_lenses(lenses, 0.0);
  check_lens(sum.lens, lens(2.6180, -2.2361, 121.7175));
  CHECK(sum.cylinder_D.low == sum.cylinder_D.high);
  const CrossedLenses plus = crossed_lenses(lenses, 0.0, plus_cylinder_from);
  CHECK(plus.cylinder_D.value == Approx(2.2361).margin(6e-5));
  CHECK(axis_gap_deg(plus.axis_rad.value, 31.7175 * rad) < 6e-5);
}

// Errors add as squares (textbook): M = S + C/2 of n lenses has the variance n (1 + 1/4) se^2, J0
// n/4 se^2; 1.95996 is the tabulated 97.5 % point of the normal distribution.
TEST_CASE("Errors of several lenses add as squares") {
  const std::array lenses{lens(-1.0, -4.0, 180.0), lens(0.0, -2.0, 180.0), lens(1.0, -3.0, 0.0)};
  const double se_D = 0.1;
  const CrossedLenses sum = crossed_lenses(lenses, se_D);
  const double half_m = 1.95996 * se_D * std::sqrt(3.0 * 1.25);
  const double half_j0 = 1.95996 * se_D * std::sqrt(3.0 * 0.25);
  CHECK(sum.m_D.high - sum.m_D.value == Approx(half_m).epsilon(0.03));
  CHECK(sum.m_D.value - sum.m_D.low == Approx(half_m).epsilon(0.03));
  CHECK(sum.j0_D.high - sum.j0_D.value == Approx(half_j0).epsilon(0.03));
  // Far from zero a cylinder's axis has the error of J45 over twice |J|: se / (2 C) radians.
  const double half_axis = 1.95996 * se_D * std::sqrt(3.0) / (2.0 * 9.0);
  CHECK(sum.axis_rad.high - sum.axis_rad.value == Approx(half_axis).epsilon(0.04));
}
