// The line on which the marks of one end lie.
#pragma once

#include "lens/mark_template.h"
#include "lens/rays.h"

namespace rhumb::lens {

struct EndLine {
  bool found = false;
  // By how much the line passes the supposed centre: positive to the left of somebody who looks
  // from it along the end's meridian. Limbal radii.
  double offset = 0.0;
  double offset_se = 1e3;  // from the scatter of the rows about the line
};

// Marks of one end lie along the marked meridian, which passes through the lens centre: a line that
// misses the supposed centre by e is seen from it, at a distance r, turned by e / r against its own
// direction (small angles). So the place of the marks by distance, least squares over rows weighted
// by their contrast, says where the centre lies across the axis though the other end is hidden. A
// single dot has no direction: offset_se stays large.
EndLine end_line_of(const MarkTemplate& mark, const RadialGrid& grid,
                    const StripGeometry& geometry);

}  // namespace rhumb::lens
