// Several lenses in contact, obliquely crossed, with the error of what is stated of each.
#pragma once

#include <span>

#include "optics/estimate.h"
#include "optics/power.h"

namespace rhumb::optics {

struct CrossedLenses {
  PowerVector sum;
  SphereCylinder lens;  // in the form asked for
  Estimate m_D, j0_D, j45_D;
  Estimate sphere_D, cylinder_D, axis_rad;  // of that form
};

// M, J0 and J45 add up (Thibos, Wheeler and Horner, Optom Vis Sci 1997;74:367-375). se_D: standard
// error of sphere and of cylinder of each lens, independent of one another; 0 where they are exact.
// form: minus_cylinder_from or plus_cylinder_from.
CrossedLenses crossed_lenses(std::span<const SphereCylinder> lenses, double se_D,
                             SphereCylinder (*form)(const PowerVector&) = minus_cylinder_from);

}  // namespace rhumb::optics
