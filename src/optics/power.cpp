#include "optics/power.h"

#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {

PowerVector operator+(const PowerVector& a, const PowerVector& b) {
  return {a.m_D + b.m_D, a.j0_D + b.j0_D, a.j45_D + b.j45_D};
}

PowerVector operator-(const PowerVector& a, const PowerVector& b) { return a + -b; }

PowerVector operator-(const PowerVector& a) { return {-a.m_D, -a.j0_D, -a.j45_D}; }

PowerVector operator*(double factor, const PowerVector& a) {
  return {factor * a.m_D, factor * a.j0_D, factor * a.j45_D};
}

PowerVector vector_from(const SphereCylinder& lens) {
  const double half = 0.5 * lens.cylinder_D;
  return {lens.sphere_D + half, -half * std::cos(2.0 * lens.axis_rad),
          -half * std::sin(2.0 * lens.axis_rad)};
}

PowerVector vector_from(const Astigmatism& astigmatism) {
  const double half = 0.5 * astigmatism.magnitude_D;
  return {0.0, half * std::cos(2.0 * astigmatism.steep_rad),
          half * std::sin(2.0 * astigmatism.steep_rad)};
}

SphereCylinder minus_cylinder_from(const PowerVector& power) {
  const double cylinder = cylinder_of(power);
  // A minus cylinder's axis is the steep meridian: its own meridian has none of its (negative)
  // power.
  return {power.m_D + 0.5 * cylinder, -cylinder, astigmatism_of(power).steep_rad};
}

SphereCylinder plus_cylinder_from(const PowerVector& power) {
  return transposed(minus_cylinder_from(power));
}

SphereCylinder transposed(const SphereCylinder& lens) {
  return {lens.sphere_D + lens.cylinder_D, -lens.cylinder_D,
          angle::wrap_axis(lens.axis_rad + angle::pi / 2.0)};
}

Astigmatism astigmatism_of(const PowerVector& power) {
  return {cylinder_of(power), angle::wrap_axis(0.5 * std::atan2(power.j45_D, power.j0_D))};
}

double blur(const PowerVector& power) { return std::hypot(power.m_D, power.j0_D, power.j45_D); }

double cylinder_of(const PowerVector& power) { return 2.0 * std::hypot(power.j0_D, power.j45_D); }

PowerVector turned(const PowerVector& power, double turn_rad) {
  const double c = std::cos(2.0 * turn_rad);
  const double s = std::sin(2.0 * turn_rad);
  return {power.m_D, c * power.j0_D - s * power.j45_D, s * power.j0_D + c * power.j45_D};
}

double power_in_meridian(const PowerVector& power, double meridian_rad) {
  return power.m_D + power.j0_D * std::cos(2.0 * meridian_rad) +
         power.j45_D * std::sin(2.0 * meridian_rad);
}

SphereCylinder crossed(const SphereCylinder& a, const SphereCylinder& b) {
  return minus_cylinder_from(vector_from(a) + vector_from(b));
}

}  // namespace rhumb::optics
