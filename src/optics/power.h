// Sphero-cylinders as power vectors, and their sums.
//
// Source: Thibos, Wheeler and Horner, Optom Vis Sci 1997;74:367-375
// (doi 10.1097/00006324-199706000-00019). The power in meridian p of a power vector is M + J0 cos
// 2p + J45 sin 2p.
#pragma once

namespace rhumb::optics {

// S / C x A in either sign convention; the axis is in [0, pi) after any function of this room.
struct SphereCylinder {
  double sphere_D = 0.0;
  double cylinder_D = 0.0;
  double axis_rad = 0.0;
};

struct PowerVector {
  double m_D = 0.0;    // spherical equivalent
  double j0_D = 0.0;   // crossed cylinder at 0/90
  double j45_D = 0.0;  // crossed cylinder at 45/135
};

// An astigmatism: how much and where it is steepest (strongest). Its power vector has M = 0.
struct Astigmatism {
  double magnitude_D = 0.0;  // 0 or more
  double steep_rad = 0.0;    // [0, pi); 0 when there is none
};

PowerVector operator+(const PowerVector& a, const PowerVector& b);
PowerVector operator-(const PowerVector& a, const PowerVector& b);
PowerVector operator-(const PowerVector& a);
PowerVector operator*(double factor, const PowerVector& a);

// M = S + C/2, J0 = -(C/2) cos 2A, J45 = -(C/2) sin 2A.
PowerVector vector_from(const SphereCylinder& lens);
// J0 = (magnitude/2) cos 2 steep, J45 likewise, M = 0.
PowerVector vector_from(const Astigmatism& astigmatism);
SphereCylinder minus_cylinder_from(const PowerVector& power);
SphereCylinder plus_cylinder_from(const PowerVector& power);
// The other sign convention of the same lens.
SphereCylinder transposed(const SphereCylinder& lens);
// The part of the power that is not spherical.
Astigmatism astigmatism_of(const PowerVector& power);
// Length of (M, J0, J45): the blur strength.
double blur(const PowerVector& power);
// Cylinder power, 0 or more: 2 sqrt(J0^2 + J45^2).
double cylinder_of(const PowerVector& power);
// The same lens turned counter-clockwise: J0 and J45 turn by twice the angle.
PowerVector turned(const PowerVector& power, double turn_rad);
double power_in_meridian(const PowerVector& power, double meridian_rad);

// Thin lenses in contact, obliquely crossed: the sum, in minus cylinder.
SphereCylinder crossed(const SphereCylinder& a, const SphereCylinder& b);

}  // namespace rhumb::optics
