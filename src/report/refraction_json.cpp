#include "report/refraction_json.h"

#include "angle/angle.h"

namespace rhumb::report {

using optics::Estimate;

Json estimate_value(const Estimate& e) {
  return {{"value", number(e.value)}, {"low", number(e.low)}, {"high", number(e.high)}};
}

Json degrees_value(const Estimate& e) {
  return {{"value", degrees(e.value)}, {"low", degrees(e.low)}, {"high", degrees(e.high)}};
}

Json lens_value(const optics::SphereCylinder& lens) {
  return {{"sphere_D", number(lens.sphere_D)},
          {"cylinder_D", number(lens.cylinder_D)},
          {"axis_deg", degrees(lens.axis_rad)}};
}

Json residual_value(const optics::ResidualEstimate& residual) {
  return {{"cylinder_D", estimate_value(residual.cylinder_D)},
          {"correction", lens_value(residual.correction)},
          {"axis_deg", degrees_value(residual.axis_rad)}};
}

namespace {

Json in_degrees_or_null(const std::optional<Estimate>& e) { return e ? degrees_value(*e) : Json(); }

Json deviation_value(const optics::DeviationCost& cost) {
  return {{"deviation_deg", degrees_value(cost.deviation_rad)},
          {"residual", residual_value(cost.residual)},
          {"lost_share", estimate_value(cost.lost_share)}};
}

Json keratometry_value(const optics::KeratometryEffect& effect) {
  return {{"corneal_cylinder_D", estimate_value(effect.corneal_cylinder_D)},
          {"steep_meridian_deg", degrees_value(effect.steep_meridian_rad)},
          {"achieved", residual_value(effect.achieved)},
          {"planned", effect.planned ? residual_value(*effect.planned) : Json()},
          {"loss_angle_deg", in_degrees_or_null(effect.loss_angle_rad)},
          {"harm_turn_counter_clockwise_deg",
           in_degrees_or_null(effect.harm_turn_counter_clockwise_rad)},
          {"harm_turn_clockwise_deg", in_degrees_or_null(effect.harm_turn_clockwise_rad)}};
}

Json measured_value(const optics::RefractionEffect& effect) {
  Json curve = Json::array();
  for (const optics::CurveEstimate& point : effect.curve)
    curve.push_back(
        {{"axis_deg", degrees(point.axis_rad)}, {"cylinder_D", estimate_value(point.cylinder_D)}});
  return {
      {"recovered_cylinder_D", estimate_value(effect.recovered_cylinder_D)},
      {"best_axis_deg", degrees_value(effect.best_axis_rad)},
      {"turn_deg", degrees_value(effect.turn_rad)},
      {"cylinder_now_D", estimate_value(effect.cylinder_now_D)},
      {"cylinder_after_turn_D", estimate_value(effect.cylinder_after_turn_D)},
      {"manifest", lens_value(effect.manifest)},
      {"after_turn", lens_value(effect.after_turn)},
      {"spectacle_sphere_after_turn_D", estimate_value(effect.spectacle_sphere_after_turn_D)},
      {"spectacle_cylinder_after_turn_D", estimate_value(effect.spectacle_cylinder_after_turn_D)},
      {"spectacle_axis_after_turn_deg", degrees_value(effect.spectacle_axis_after_turn_rad)},
      {"exchange_cylinder_D", estimate_value(effect.exchange_cylinder_D)},
      {"remedy", optics::name_of(effect.remedy)},
      {"remedy_reason", effect.remedy_reason},
      {"curve", curve}};
}

Json operation_value(const optics::OperationVectors& vectors) {
  return {{"intended_D", estimate_value(vectors.intended_D)},
          {"induced_D", estimate_value(vectors.induced_D)},
          {"difference_D", estimate_value(vectors.difference_D)},
          {"intended_axis_deg", degrees_value(vectors.intended_axis_rad)},
          {"induced_axis_deg", degrees_value(vectors.induced_axis_rad)},
          {"difference_axis_deg", degrees_value(vectors.difference_axis_rad)},
          {"correction_index", estimate_value(vectors.correction_index)},
          {"angle_of_error_deg", degrees_value(vectors.angle_of_error_rad)}};
}

Json plot_value(const std::vector<optics::PlotPoint>& points) {
  Json plot = Json::array();
  for (const optics::PlotPoint& point : points)
    plot.push_back({{"label", point.label},
                    {"j0_D", number(point.j0_D)},
                    {"j45_D", number(point.j45_D)},
                    {"ellipse",
                     {{"semi_major_D", number(point.ellipse.semi_major_D)},
                      {"semi_minor_D", number(point.ellipse.semi_minor_D)},
                      {"angle_deg", degrees(point.ellipse.angle_rad)}}}});
  return plot;
}

}  // namespace

Json refraction_value(const optics::RefractiveEffect& effect) {
  return {{"lens_cylinder_D", number(effect.lens_cylinder_D)},
          {"lens_cylinder_corneal_D", estimate_value(effect.lens_cylinder_corneal_D)},
          {"plane_ratio", estimate_value(effect.plane_ratio)},
          {"deviation", effect.deviation ? deviation_value(*effect.deviation) : Json()},
          {"keratometry", effect.keratometry ? keratometry_value(*effect.keratometry) : Json()},
          {"refraction", effect.refraction ? measured_value(*effect.refraction) : Json()},
          {"operation", effect.operation ? operation_value(*effect.operation) : Json()},
          {"plot", plot_value(effect.plot)},
          {"assumptions", effect.assumptions}};
}

}  // namespace rhumb::report
