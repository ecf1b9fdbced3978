#include "optics/rerotate.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "optics/residual.h"

namespace rhumb::optics {

PowerVector lens_vector(double cylinder_D, double marks_axis_rad) {
  return vector_from(SphereCylinder{-0.5 * cylinder_D, cylinder_D, marks_axis_rad});
}

Astigmatism recovered_eye(const PowerVector& correction, double lens_cylinder_D,
                          double marks_axis_rad) {
  return astigmatism_of(-correction - lens_vector(lens_cylinder_D, marks_axis_rad));
}

PowerVector correction_after_turn(const PowerVector& correction, double lens_cylinder_D,
                                  double marks_axis_rad, double new_axis_rad) {
  return correction + lens_vector(lens_cylinder_D, marks_axis_rad) -
         lens_vector(lens_cylinder_D, new_axis_rad);
}

Rerotation best_rerotation(const PowerVector& correction, double lens_cylinder_D,
                           double marks_axis_rad) {
  Rerotation result;
  result.eye = recovered_eye(correction, lens_cylinder_D, marks_axis_rad);
  result.cylinder_now_D = cylinder_of(correction);
  result.cylinder_after_D = std::abs(result.eye.magnitude_D - lens_cylinder_D);
  // An eye without astigmatism has no best axis: leave the lens where it is.
  const bool any = result.eye.magnitude_D > 1e-9 && lens_cylinder_D > 0.0;
  result.best_axis_rad = any ? result.eye.steep_rad : angle::wrap_axis(marks_axis_rad);
  result.turn_rad = any ? angle::wrap_deviation(result.best_axis_rad - marks_axis_rad) : 0.0;
  return result;
}

std::vector<CurvePoint> residual_curve(const Astigmatism& eye, double lens_cylinder_D, int steps) {
  steps = std::max(steps, 1);
  std::vector<CurvePoint> curve;
  curve.reserve(steps + 1);
  for (int i = 0; i <= steps; ++i) {
    const double axis = angle::pi * i / steps;
    curve.push_back(
        {axis, residual_cylinder(eye.magnitude_D, lens_cylinder_D, axis - eye.steep_rad)});
  }
  return curve;
}

const char* name_of(Remedy remedy) {
  switch (remedy) {
    case Remedy::Neither:
      return "neither";
    case Remedy::Turn:
      return "turn";
    case Remedy::Exchange:
      return "exchange";
    case Remedy::Open:
      break;
  }
  return "open";
}

Remedy turn_or_exchange(double cylinder_now_D, double cylinder_after_turn_D,
                        const RemedyOptions& options) {
  if (cylinder_now_D <= options.tolerated_D) return Remedy::Neither;
  return cylinder_after_turn_D <= options.tolerated_D ? Remedy::Turn : Remedy::Exchange;
}

}  // namespace rhumb::optics
