#include "optics/operation.h"

#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {

OperationAnalysis analyse_operation(const Astigmatism& before, const Astigmatism& target,
                                    const Astigmatism& after) {
  const PowerVector meant = vector_from(target) - vector_from(before);
  const PowerVector done = vector_from(after) - vector_from(before);
  OperationAnalysis result;
  result.target_induced = astigmatism_of(meant);
  result.surgically_induced = astigmatism_of(done);
  result.difference = astigmatism_of(meant - done);
  const double meant_D = result.target_induced.magnitude_D;
  const double done_D = result.surgically_induced.magnitude_D;
  result.magnitude_error_D = done_D - meant_D;
  result.angle_error_rad =
      angle::wrap_deviation(result.surgically_induced.steep_rad - result.target_induced.steep_rad);
  result.flattening_D = done_D * std::cos(2.0 * result.angle_error_rad);
  result.torque_D = done_D * std::sin(2.0 * result.angle_error_rad);
  if (meant_D > 0.0) {
    result.correction_index = done_D / meant_D;
    result.success_index = result.difference.magnitude_D / meant_D;
    result.flattening_index = result.flattening_D / meant_D;
  }
  return result;
}

}  // namespace rhumb::optics
