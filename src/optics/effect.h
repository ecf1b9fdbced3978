// What the achieved axis means for the refraction: the section of the report that this room fills.
//
// A calculation for review. Turning or exchanging a lens is decided by a licensed surgeon on the
// patient in front of them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "optics/double_angle.h"
#include "optics/estimate.h"
#include "optics/power.h"
#include "optics/rerotate.h"
#include "optics/stated.h"

namespace rhumb::optics {

// A point of the double-angle plot. A cylinder of power C (plus) that is steep at meridian a lies
// at radius C/2 (as J0, J45) and at the angle 2a.
struct PlotPoint {
  std::string label;
  double j0_D = 0.0;
  double j45_D = 0.0;
  PlotEllipse ellipse;  // 95 %, its axes from J0 (right) towards J45 (up)
};

// A cylinder that is left in the eye, as the minus-cylinder correction that it asks for.
struct ResidualEstimate {
  Estimate cylinder_D;        // magnitude, 0 or more, at the corneal plane
  SphereCylinder correction;  // minus cylinder, corneal plane, spherical equivalent taken as 0
  Estimate axis_rad;          // of that correction
};

// Needs the lens's cylinder and a planned axis: what the deviation alone costs, had the plan been
// perfect.
struct DeviationCost {
  Estimate deviation_rad;
  ResidualEstimate residual;  // cylinder 2 L sin|d|
  Estimate lost_share;  // of the lens's effect: residual over the cylinder at the corneal plane
};

// Needs keratometry too: cornea and lens crossed at their own powers. The posterior cornea is not
// known.
struct KeratometryEffect {
  Estimate corneal_cylinder_D;
  Estimate steep_meridian_rad;
  ResidualEstimate achieved;
  std::optional<ResidualEstimate> planned;  // where there is a planned axis
  // Deviation from the steep meridian at which the correction is lost; empty where the cornea has
  // none.
  std::optional<Estimate> loss_angle_rad;
  // Further turns from the achieved axis at which the lens starts to harm; 0 where it harms
  // already. Both are positive numbers.
  std::optional<Estimate> harm_turn_counter_clockwise_rad;
  std::optional<Estimate> harm_turn_clockwise_rad;
};

// A point of the curve of residual cylinder (corneal plane) against the axis of the marks.
struct CurveEstimate {
  double axis_rad = 0.0;
  Estimate cylinder_D;
};

// Needs a refraction measured with the lens in its present place.
struct RefractionEffect {
  Estimate recovered_cylinder_D;  // of the eye without the lens, corneal plane
  Estimate best_axis_rad;
  Estimate turn_rad;        // from the achieved axis to the best, counter-clockwise positive
  Estimate cylinder_now_D;  // corneal plane
  Estimate cylinder_after_turn_D;
  SphereCylinder manifest;    // as stated, spectacle plane, minus cylinder
  SphereCylinder after_turn;  // the same with the lens at the best axis
  Estimate spectacle_sphere_after_turn_D;
  Estimate spectacle_cylinder_after_turn_D;  // magnitude, 0 or more
  Estimate spectacle_axis_after_turn_rad;    // of the minus cylinder
  // Lens plane: the cylinder that would leave nothing, at the best axis.
  Estimate exchange_cylinder_D;
  Remedy remedy = Remedy::Open;      // which of them serves better, on cylinder alone
  std::string remedy_reason;         // one sentence
  std::vector<CurveEstimate> curve;  // residual cylinder against lens axis, 0 to 180 degrees
};

// Needs keratometry, a refraction and a planned axis: the operation's vectors at the corneal plane.
struct OperationVectors {
  Estimate intended_D, induced_D, difference_D;  // magnitudes
  Estimate intended_axis_rad, induced_axis_rad, difference_axis_rad;
  Estimate correction_index;
  Estimate angle_of_error_rad;
};

struct RefractiveEffect {
  double lens_cylinder_D = 0.0;      // lens plane, as stated
  Estimate lens_cylinder_corneal_D;  // corneal plane
  Estimate plane_ratio;              // lens plane over corneal plane
  std::optional<DeviationCost> deviation;
  std::optional<KeratometryEffect> keratometry;
  std::optional<RefractionEffect> refraction;
  std::optional<OperationVectors> operation;
  std::vector<PlotPoint> plot;  // only of what is given above
  std::vector<std::string>
      assumptions;  // one sentence each, for people: what was not stated, and limits
};

// What the data of the case allow to say; each part is empty where its data are missing.
// lens_cylinder_D: positive, at the lens plane. achieved_axis_rad: of the marks, 95 % interval, in
// the eye's meridians (not relative axes). planned_axis_rad: where one is known. Empty when the
// cylinder is missing or not positive and finite.
std::optional<RefractiveEffect> refractive_effect(const StatedEye& eye,
                                                  std::optional<double> lens_cylinder_D,
                                                  const Estimate& achieved_axis_rad,
                                                  std::optional<double> planned_axis_rad);

}  // namespace rhumb::optics
