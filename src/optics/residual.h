// What a toric lens leaves of the eye's astigmatism at a deviation, and when it is of no use.
//
// Sources: equal powers, residual = 2 C sin d (AAO current insight; Morlet, Minassian and Dart, Br
// J Ophthalmol 2001;85, PMC1724117); unequal powers, R^2 = A^2 + L^2 - 2 A L cos 2d, and the loss
// at cos 2d = L / (2A) (Felipe et al., J Cataract Refract Surg 2011). All powers at one plane (the
// corneal plane), in dioptres; deviations in radians.
#pragma once

#include <optional>

#include "optics/power.h"

namespace rhumb::optics {

// Cylinder that is left. eye_D, lens_D: 0 or more. Equal powers give 2 C |sin d|.
double residual_cylinder(double eye_D, double lens_D, double deviation_rad);

// The residual as a correction, minus cylinder with spherical equivalent 0: what spectacles would
// have to hold for an eye steep at a meridian with the marks at an axis.
SphereCylinder residual_correction(const Astigmatism& eye, double lens_D, double marks_axis_rad);

// Deviation, 0 to pi/2, at which the residual is as large as without the lens's cylinder (the
// correction is lost). Beyond it the lens harms. Empty when eye_D or lens_D is 0; 0 when lens_D is
// 2 eye_D or more: such a lens never helps.
std::optional<double> loss_angle_rad(double eye_D, double lens_D);

// How far the lens may still turn from its present place, each way, before it harms; 0 when it
// harms already. Smaller than the loss angle on one side as soon as there is a deviation.
struct HarmTurns {
  double counter_clockwise_rad = 0.0;
  double clockwise_rad = 0.0;  // a positive number
};
std::optional<HarmTurns> harm_turns(const Astigmatism& eye, double lens_D, double marks_axis_rad);

// If the deviation could not be undone: the cylinder that would serve best there, and what it
// leaves (Morlet et al.: C cos 2d and C sin 2d).
struct BestPowerAt {
  double lens_D = 0.0;
  double residual_D = 0.0;
};
BestPowerAt best_power_at(double eye_D, double deviation_rad);

// Axis error at which a cylinder F causes a cylinder error E: asin(E / (2F)), the way in which axis
// tolerances of spectacle lenses are derived (Torgersen 2006). Empty when E > 2F: no axis error
// does.
std::optional<double> axis_tolerance_rad(double cylinder_D, double error_D);

}  // namespace rhumb::optics
