// The refractive effect as JSON: dioptres and degrees, each estimate with its 95 % interval.
#include "angle/angle.h"
#include "report/json_values.h"

namespace rhumb::report {
namespace {

using optics::Estimate;

Json estimate(const Estimate& e, double factor = 1.0) {
  return {{"value", number(factor * e.value)},
          {"low", number(factor * e.low)},
          {"high", number(factor * e.high)}};
}

Json in_degrees(const Estimate& e) { return estimate(e, angle::deg_from_rad(1.0)); }

Json in_degrees_or_null(const std::optional<Estimate>& e) { return e ? in_degrees(*e) : Json(); }

Json lens_value(const optics::SphereCylinder& lens) {
  return {{"sphere_D", number(lens.sphere_D)},
          {"cylinder_D", number(lens.cylinder_D)},
          {"axis_deg", degrees(lens.axis_rad)}};
}

Json residual_value(const optics::ResidualEstimate& residual) {
  return {{"cylinder_D", estimate(residual.cylinder_D)},
          {"correction", lens_value(residual.correction)},
          {"axis_deg", in_degrees(residual.axis_rad)}};
}

Json deviation_value(const optics::DeviationCost& cost) {
  return {{"deviation_deg", in_degrees(cost.deviation_rad)},
          {"residual", residual_value(cost.residual)},
          {"lost_share", estimate(cost.lost_share)}};
}

Json keratometry_value(const optics::KeratometryEffect& effect) {
  return {{"corneal_cylinder_D", estimate(effect.corneal_cylinder_D)},
          {"steep_meridian_deg", in_degrees(effect.steep_meridian_rad)},
          {"achieved", residual_value(effect.achieved)},
          {"planned", effect.planned ? residual_value(*effect.planned) : Json()},
          {"loss_angle_deg", in_degrees_or_null(effect.loss_angle_rad)},
          {"harm_turn_counter_clockwise_deg",
           in_degrees_or_null(effect.harm_turn_counter_clockwise_rad)},
          {"harm_turn_clockwise_deg", in_degrees_or_null(effect.harm_turn_clockwise_rad)}};
}

const char* remedy_word(optics::Remedy remedy) {
  switch (remedy) {
    case optics::Remedy::Neither:
      return "neither";
    case optics::Remedy::Turn:
      return "turn";
    case optics::Remedy::Exchange:
      return "exchange";
    case optics::Remedy::Open:
      break;
  }
  return "open";
}

Json measured_value(const optics::RefractionEffect& effect) {
  Json curve = Json::array();
  for (const optics::CurveEstimate& point : effect.curve)
    curve.push_back(
        {{"axis_deg", degrees(point.axis_rad)}, {"cylinder_D", estimate(point.cylinder_D)}});
  return {{"recovered_cylinder_D", estimate(effect.recovered_cylinder_D)},
          {"best_axis_deg", in_degrees(effect.best_axis_rad)},
          {"turn_deg", in_degrees(effect.turn_rad)},
          {"cylinder_now_D", estimate(effect.cylinder_now_D)},
          {"cylinder_after_turn_D", estimate(effect.cylinder_after_turn_D)},
          {"manifest", lens_value(effect.manifest)},
          {"after_turn", lens_value(effect.after_turn)},
          {"spectacle_cylinder_after_turn_D", estimate(effect.spectacle_cylinder_after_turn_D)},
          {"exchange_cylinder_D", estimate(effect.exchange_cylinder_D)},
          {"remedy", remedy_word(effect.remedy)},
          {"remedy_reason", effect.remedy_reason},
          {"curve", curve}};
}

Json operation_value(const optics::OperationVectors& vectors) {
  return {{"intended_D", estimate(vectors.intended_D)},
          {"induced_D", estimate(vectors.induced_D)},
          {"difference_D", estimate(vectors.difference_D)},
          {"intended_axis_deg", in_degrees(vectors.intended_axis_rad)},
          {"induced_axis_deg", in_degrees(vectors.induced_axis_rad)},
          {"difference_axis_deg", in_degrees(vectors.difference_axis_rad)},
          {"correction_index", estimate(vectors.correction_index)},
          {"angle_of_error_deg", in_degrees(vectors.angle_of_error_rad)}};
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
          {"lens_cylinder_corneal_D", estimate(effect.lens_cylinder_corneal_D)},
          {"plane_ratio", estimate(effect.plane_ratio)},
          {"deviation", effect.deviation ? deviation_value(*effect.deviation) : Json()},
          {"keratometry", effect.keratometry ? keratometry_value(*effect.keratometry) : Json()},
          {"refraction", effect.refraction ? measured_value(*effect.refraction) : Json()},
          {"operation", effect.operation ? operation_value(*effect.operation) : Json()},
          {"plot", plot_value(effect.plot)},
          {"assumptions", effect.assumptions}};
}

}  // namespace rhumb::report
