#include "optics/residual.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "optics/rerotate.h"

namespace rhumb::optics {

double residual_cylinder(double eye_D, double lens_D, double deviation_rad) {
  // (A - L)^2 + 4 A L sin^2 d: the same as the law of cosines without its cancellation at small d.
  const double s = std::sin(deviation_rad);
  return std::sqrt((eye_D - lens_D) * (eye_D - lens_D) + 4.0 * eye_D * lens_D * s * s);
}

SphereCylinder residual_correction(const Astigmatism& eye, double lens_D, double marks_axis_rad) {
  return minus_cylinder_from(-(vector_from(eye) + lens_vector(lens_D, marks_axis_rad)));
}

std::optional<double> loss_angle_rad(double eye_D, double lens_D) {
  if (!(eye_D > 0.0) || !(lens_D > 0.0)) return std::nullopt;
  return 0.5 * std::acos(std::min(1.0, lens_D / (2.0 * eye_D)));
}

std::optional<HarmTurns> harm_turns(const Astigmatism& eye, double lens_D, double marks_axis_rad) {
  const std::optional<double> loss = loss_angle_rad(eye.magnitude_D, lens_D);
  if (!loss) return std::nullopt;
  const double deviation = angle::wrap_deviation(marks_axis_rad - eye.steep_rad);
  if (std::abs(deviation) >= *loss) return HarmTurns{};
  return HarmTurns{*loss - deviation, *loss + deviation};
}

BestPowerAt best_power_at(double eye_D, double deviation_rad) {
  // Beyond 45 degrees any power at all makes it worse.
  const double along = std::cos(2.0 * deviation_rad);
  if (along <= 0.0) return {0.0, eye_D};
  return {eye_D * along, eye_D * std::abs(std::sin(2.0 * deviation_rad))};
}

std::optional<double> axis_tolerance_rad(double cylinder_D, double error_D) {
  const double ratio = std::abs(error_D) / (2.0 * std::abs(cylinder_D));
  if (!(ratio <= 1.0)) return std::nullopt;
  return std::asin(ratio);
}

}  // namespace rhumb::optics
