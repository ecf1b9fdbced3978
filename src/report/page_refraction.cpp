// The refraction section of the page.
#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/page.h"
#include "report/page_words.h"

namespace rhumb::report {
namespace {

using optics::Estimate;

Json line(const std::string& name, const std::string& value, const std::string& range) {
  return {{"name", name}, {"value", value}, {"range", range}, {"detail", false}};
}

// On the screen only: paper has two sheets.
Json detail(Json line) {
  line["detail"] = true;
  return line;
}

Json dioptres(const std::string& name, const Estimate& e) {
  return line(name, dioptre_text(e.value) + " D",
              fmt::format("{} to {} D", dioptre_text(e.low), dioptre_text(e.high)));
}

Json axis(const std::string& name, const Estimate& e) {
  const auto text = [](double rad) { return axis_text(angle::deg_from_rad(rad), 0); };
  // Two thirds of all axes and more: the cylinder is too small for its error to point anywhere.
  const bool anywhere = e.high - e.low > 2.0 * angle::pi / 3.0;
  return line(name, text(e.value) + "°",
              anywhere ? "almost any" : fmt::format("{}° to {}°", text(e.low), text(e.high)));
}

Json turn(const std::string& name, const Estimate& e, bool with_sign = true) {
  const auto text = [with_sign](double rad) {
    const double deg = angle::deg_from_rad(rad);
    return with_sign ? signed_text(deg) : fmt::format("{:.1f}", deg);
  };
  return line(name, text(e.value) + "°", fmt::format("{}° to {}°", text(e.low), text(e.high)));
}

std::string lens_text(const optics::SphereCylinder& lens) {
  return fmt::format("{} D / {} D × {}°", dioptre_text(lens.sphere_D),
                     dioptre_text(lens.cylinder_D),
                     axis_text(angle::deg_from_rad(lens.axis_rad), 0));
}

// The cylinder that is left, the correction that it asks for, and the axis of that.
void add_residual(Json& lines, const std::string& name, const optics::ResidualEstimate& residual) {
  lines.push_back(dioptres(name, residual.cylinder_D));
  Json correction = axis("as a correction at the cornea", residual.axis_rad);
  correction["value"] = lens_text(residual.correction);
  correction["range"] = "axis: " + correction["range"].get<std::string>();
  lines.push_back(detail(correction));
}

void add_keratometry(Json& lines, const optics::KeratometryEffect& effect) {
  lines.push_back(dioptres("Cylinder of the cornea, as measured", effect.corneal_cylinder_D));
  lines.push_back(axis("Steep meridian of the cornea", effect.steep_meridian_rad));
  add_residual(lines, "Cornea and lens together, at the achieved axis", effect.achieved);
  if (effect.planned)
    lines.push_back(
        dioptres("Cornea and lens together, at the planned axis", effect.planned->cylinder_D));
  if (effect.loss_angle_rad)
    lines.push_back(turn("Deviation from the steep meridian that would undo the correction",
                         *effect.loss_angle_rad, false));
  if (effect.harm_turn_counter_clockwise_rad)
    lines.push_back(detail(turn("Further turn at which the lens starts to harm, counter-clockwise",
                                *effect.harm_turn_counter_clockwise_rad, false)));
  if (effect.harm_turn_clockwise_rad)
    lines.push_back(detail(turn("the same, clockwise", *effect.harm_turn_clockwise_rad, false)));
}

void add_refraction(Json& lines, const optics::RefractionEffect& effect) {
  lines.push_back(line("Refraction as stated", lens_text(effect.manifest), ""));
  lines.push_back(dioptres("Its cylinder at the cornea", effect.cylinder_now_D));
  lines.push_back(
      detail(dioptres("Cylinder of the eye without the lens", effect.recovered_cylinder_D)));
  lines.push_back(axis("Axis with the least residual", effect.best_axis_rad));
  lines.push_back(turn("Turn from the achieved axis to it", effect.turn_rad));
  lines.push_back(dioptres("Cylinder that would be left there", effect.cylinder_after_turn_D));
  lines.push_back(line(
      "Refraction that would be left there", lens_text(effect.after_turn),
      fmt::format("cylinder {} to {} D", dioptre_text(effect.spectacle_cylinder_after_turn_D.low),
                  dioptre_text(effect.spectacle_cylinder_after_turn_D.high))));
  lines.push_back(
      dioptres("Lens cylinder that would leave none there", effect.exchange_cylinder_D));
}

void add_operation(Json& lines, const optics::OperationVectors& vectors) {
  lines.push_back(detail(dioptres("Change of astigmatism that was meant", vectors.intended_D)));
  lines.push_back(detail(dioptres("Change that was brought about", vectors.induced_D)));
  lines.push_back(detail(dioptres("Difference between the two", vectors.difference_D)));
  const Estimate& index = vectors.correction_index;
  lines.push_back(detail(
      line("Correction index, 1 where as much was changed as was meant", dioptre_text(index.value),
           fmt::format("{} to {}", dioptre_text(index.low), dioptre_text(index.high)))));
  lines.push_back(detail(turn("Angle of error of the change", vectors.angle_of_error_rad)));
}

}  // namespace

Json refraction_section(const std::optional<optics::RefractiveEffect>& effect) {
  if (!effect) return nullptr;
  Json lines = Json::array();
  lines.push_back(dioptres("Cylinder of the lens, at the cornea", effect->lens_cylinder_corneal_D));
  if (effect->deviation) {
    const optics::DeviationCost& cost = *effect->deviation;
    add_residual(lines, "Left by the deviation alone, had the plan been right", cost.residual);
    lines.push_back(line("Share of the lens\u2019s effect that this is",
                         percent_text(cost.lost_share.value) + " %",
                         fmt::format("{} to {} %", percent_text(cost.lost_share.low),
                                     percent_text(cost.lost_share.high))));
  }
  if (effect->keratometry) add_keratometry(lines, *effect->keratometry);
  if (effect->refraction) add_refraction(lines, *effect->refraction);
  if (effect->operation) add_operation(lines, *effect->operation);
  return {{"lines", lines},
          {"double_angle", double_angle_values(*effect)},
          {"curve", effect->refraction && !effect->refraction->curve.empty()},
          {"remedy", effect->refraction ? effect->refraction->remedy_reason : std::string()},
          {"assumptions", effect->assumptions}};
}

}  // namespace rhumb::report
