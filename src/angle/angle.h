// Axes, meridians and rotations of the eye, as types that cannot be mixed up.
//
// Convention (ISO 8429, known as TABO): angles count counter-clockwise from the examiner's right,
// looking at the eye from the front, the same for right and left eyes. Radians inside; degrees only
// at the edges.
#pragma once

#include <numbers>

namespace rhumb::angle {

inline constexpr double pi = std::numbers::pi;

constexpr double rad_from_deg(double deg) { return deg * (pi / 180.0); }
constexpr double deg_from_rad(double rad) { return rad * (180.0 / pi); }

// An axis has no arrow: wraps to [0, pi).
double wrap_axis(double rad);
// A meridian has an arrow: wraps to [0, 2 pi).
double wrap_meridian(double rad);
// A difference of two axes (a deviation): wraps to (-pi/2, pi/2].
double wrap_deviation(double rad);
// A rotation: wraps to (-pi, pi].
double wrap_rotation(double rad);

}  // namespace rhumb::angle
