// From a refraction measured over a toric lens, back to the eye, and on to the best place for the
// lens.
//
// Sources: the sum of power vectors (Thibos and Horner, J Cataract Refract Surg 2001;27:80-85); the
// inverse as in Langenbucher et al. (abstract seen). The lens's marks show the axis of its plus
// cylinder, its weak meridian: the lens lies well when they lie on the steep meridian of the eye.
// Everything here is at the corneal plane; vergence.h brings powers there.
#pragma once

#include <vector>

#include "optics/power.h"

namespace rhumb::optics {

// The lens's cylinder as a power vector for marks at an axis.
PowerVector lens_vector(double cylinder_D, double marks_axis_rad);

// The eye's astigmatism without the lens: minus the correction, minus the lens in its present
// place. correction: the measured refraction, as a power vector at the corneal plane.
Astigmatism recovered_eye(const PowerVector& correction, double lens_cylinder_D,
                          double marks_axis_rad);

// The correction that would be measured with the lens turned to another axis. The spherical
// equivalent stays, for turning moves no power along the axis of the eye.
PowerVector correction_after_turn(const PowerVector& correction, double lens_cylinder_D,
                                  double marks_axis_rad, double new_axis_rad);

struct Rerotation {
  Astigmatism eye;  // without the lens
  double best_axis_rad =
      0.0;  // the marks' axis of the least residual; the present one if the eye has none
  double turn_rad = 0.0;  // from the present axis, counter-clockwise positive, (-pi/2, pi/2]
  double cylinder_now_D = 0.0;
  double cylinder_after_D = 0.0;  // |eye - lens|
};
Rerotation best_rerotation(const PowerVector& correction, double lens_cylinder_D,
                           double marks_axis_rad);

struct CurvePoint {
  double axis_rad = 0.0;
  double cylinder_D = 0.0;
};
// Residual cylinder against the marks' axis, from 0 to pi with both ends.
std::vector<CurvePoint> residual_curve(const Astigmatism& eye, double lens_cylinder_D,
                                       int steps = 180);

// What would take cylinder away, on cylinder alone.
enum class Remedy {
  Neither,   // what is left now is within the tolerance
  Turn,      // a turn brings it within the tolerance
  Exchange,  // a turn cannot; another cylinder could
  Open       // the uncertainty does not let one decide
};
const char* name_of(Remedy remedy);  // "neither", "turn", "exchange", "open"

struct RemedyOptions {
  // Residual cylinder that nobody would operate for: entries of registries start at 0.5 D (Clin
  // Ophthalmol 2020, doi 10.2147/OPTH.S285818).
  double tolerated_D = 0.5;
};
Remedy turn_or_exchange(double cylinder_now_D, double cylinder_after_turn_D,
                        const RemedyOptions& options = {});

}  // namespace rhumb::optics
