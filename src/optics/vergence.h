// Powers carried from one plane to another: spectacles, cornea, lens.
//
// Source: vergence in a principal meridian, F' = F / (1 - (d/n) F) on going towards the eye by d,
// with its inverse F / (1 + (d/n) F). It is applied to both principal meridians, which is exact for
// thin lenses and any axis, because a power vector and its vergence share their principal
// meridians. The 'vertex' formula of spectacles is not valid between lens and cornea with the
// cylinder alone (Arch Ophthalmol 2012;130:945-946, doi 10.1001/archophthalmol.2011.1912): the
// cornea's own power must be in the vergence.
#pragma once

#include "optics/power.h"

namespace rhumb::optics {

inline constexpr double aqueous_index =
    1.336;  // of aqueous and vitreous; Gullstrand's eye, textbook value

// Vergence after a distance of distance_m in a medium of that index, in both principal meridians.
// Negative distances go back. Gives nothing finite where the focus lies on the target plane
// (distance = index / power).
PowerVector propagated(const PowerVector& vergence, double distance_m, double index);

// A refraction at the spectacle plane as one at the corneal plane, and back. vertex_mm: 0 or more.
PowerVector corneal_from_spectacle(const PowerVector& refraction, double vertex_mm);
PowerVector spectacle_from_corneal(const PowerVector& refraction, double vertex_mm);

// The thin-lens eye around a toric lens.
struct LensPlane {
  double effective_position_mm =
      4.6;                    // lens behind cornea; Ophthalmic Res 2014;51:104: 4.44 to 4.60 mm
  double cornea_D = 44.2;     // mean keratometry; 28,709 eyes: 44.26 (PMC8045194)
  double refraction_D = 0.0;  // spherical equivalent of the refraction, at the corneal plane
  double index = aqueous_index;
};

// Local ratio of a small cylinder at the lens plane to its effect at the corneal plane:
// 1 / (1 - (d/n)(K + R))^2.
double plane_ratio(const LensPlane& plane);
// What a cylinder at the lens plane does at the corneal plane, both in dioptres and 0 or more;
// exact in the two principal meridians, whose mean vergence at the lens is that of the eye.
double corneal_from_lens_cylinder(double cylinder_D, const LensPlane& plane);
double lens_from_corneal_cylinder(double cylinder_D, const LensPlane& plane);

// The power that a thin lens must have so that an eye has a wanted refraction. cornea: keratometry;
// refraction: at the corneal plane; eye_length_mm: optical, greater than the effective position.
PowerVector lens_for(const PowerVector& cornea, const PowerVector& refraction,
                     double effective_position_mm, double eye_length_mm,
                     double index = aqueous_index);
// Eye length, in mm, that a spherical equivalent implies together with the rest.
double implied_eye_length_mm(double lens_D, const LensPlane& plane);

// Direction in which a mark line behind a toric cornea is seen from the front, for a true direction
// in the eye, and back: each principal meridian is magnified by its own 1 / (1 - (d/n) F). Two
// dioptres of corneal cylinder turn a direction at 45 degrees to it by 0.23 degrees at a depth
// of 4.5 mm. cornea: keratometry as a power vector; depth_mm: of the marks behind the cornea. Axes
// in [0, pi).
double seen_axis_rad(double true_axis_rad, const PowerVector& cornea, double depth_mm);
double true_axis_rad(double seen_axis_rad, const PowerVector& cornea, double depth_mm);

}  // namespace rhumb::optics
