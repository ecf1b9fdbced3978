// Comparisons for power vectors and axes. An axis is compared across its wrap.
#pragma once

#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"
#include "optics/power.h"

namespace rhumb::optics {

inline constexpr double rad = angle::pi / 180.0;

// Distance between two axes, in degrees.
inline double axis_gap_deg(double a_rad, double b_rad) {
  return std::abs(angle::deg_from_rad(angle::wrap_deviation(a_rad - b_rad)));
}

inline SphereCylinder lens(double sphere_D, double cylinder_D, double axis_deg) {
  return {sphere_D, cylinder_D, axis_deg * rad};
}

inline void check_lens(const SphereCylinder& found, const SphereCylinder& wanted,
                       double power_D = 6e-5, double axis_deg = 6e-5) {
  CHECK(found.sphere_D == Approx(wanted.sphere_D).margin(power_D));
  CHECK(found.cylinder_D == Approx(wanted.cylinder_D).margin(power_D));
  CHECK(axis_gap_deg(found.axis_rad, wanted.axis_rad) < axis_deg);
}

inline void check_vector(const PowerVector& found, double m_D, double j0_D, double j45_D) {
  CHECK(found.m_D == Approx(m_D).margin(6e-5));
  CHECK(found.j0_D == Approx(j0_D).margin(6e-5));
  CHECK(found.j45_D == Approx(j45_D).margin(6e-5));
}

inline void check_astigmatism(const Astigmatism& found, double magnitude_D, double steep_deg,
                              double axis_deg = 6e-5) {
  CHECK(found.magnitude_D == Approx(magnitude_D).margin(6e-5));
  CHECK(axis_gap_deg(found.steep_rad, steep_deg * rad) < axis_deg);
}

}  // namespace rhumb::optics
