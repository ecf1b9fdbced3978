#include "cli/optics_answers.h"

#include <fmt/core.h>

#include <algorithm>

#include "angle/angle.h"
#include "cli/command.h"
#include "files/user_error.h"
#include "optics/crossed.h"
#include "optics/effect.h"
#include "optics/notation.h"
#include "optics/residual.h"
#include "optics/vergence.h"
#include "report/refraction_json.h"

namespace rhumb::cli {
namespace {

using angle::deg_from_rad;
using angle::rad_from_deg;
using optics::Estimate;
using report::Json;

constexpr const char* surgeon =
    "A calculation for review. Turning or exchanging a lens is decided by a licensed surgeon on "
    "the patient in front of them.";

optics::SphereCylinder read_lens(const std::string& text, const std::string& place) {
  if (const auto lens = optics::parse_notation(text)) return *lens;
  throw UserError(
      place, "", "'" + text + "' is no refraction",
      "write sphere/cylinder x axis, such as -0.50/-1.25x170, with an axis from 0 to 180");
}

std::string power_text(const Estimate& e, const char* form = "{:.2f} D (95 %: {:.2f} to {:.2f})") {
  return fmt::format(fmt::runtime(form), e.value, e.low, e.high);
}

std::string turn_text(const Estimate& e,
                      const char* form = "{:+.1f} degrees (95 %: {:+.1f} to {:+.1f})") {
  return fmt::format(fmt::runtime(form), deg_from_rad(e.value), deg_from_rad(e.low),
                     deg_from_rad(e.high));
}

std::string axis_text(const Estimate& e) {
  return fmt::format("{} degrees (95 %: {} to {})", optics::axis_text(e.value, 1),
                     optics::axis_text(e.low, 1), optics::axis_text(e.high, 1));
}

// Answers in JSON open and close alike.
int show(Json answer, const std::vector<std::string>& assumptions) {
  answer["assumptions"] = assumptions;
  answer["caution"] = surgeon;
  fmt::print("{}\n", answer.dump(2));
  return exit_done;
}

int close(const std::vector<std::string>& assumptions) {
  for (const std::string& assumption : assumptions) fmt::print("  {}\n", assumption);
  fmt::print("{}\n", surgeon);
  return exit_done;
}

std::optional<optics::LensPower> stated_position(const OpticsQuestion& question) {
  if (!question.position_mm) return std::nullopt;
  return optics::LensPower{{}, question.position_mm};
}

optics::Keratometry read_keratometry(const OpticsQuestion& question) {
  const double flat_D = question.keratometry[0];
  const double steep_D = question.keratometry[1];
  const double steep_deg = question.keratometry[2];
  if (!(flat_D >= 25.0 && flat_D <= steep_D && steep_D <= 75.0 && steep_deg >= 0.0 &&
        steep_deg <= 180.0))
    throw UserError(
        "optics", "--keratometry", "not a cornea",
        "give flat power, steep power (25 to 75 D, flat first) and steep meridian (0 to 180)");
  return {flat_D, rad_from_deg(steep_deg + 90.0), steep_D, question.keratometry_se_D, 0.0};
}

optics::StatedEye refracted_eye(const OpticsQuestion& question) {
  optics::StatedEye eye;
  if (!question.keratometry.empty()) eye.keratometry = read_keratometry(question);
  const optics::SphereCylinder lens = read_lens(question.refraction, "optics, --refraction");
  eye.refraction = optics::Refraction{lens.sphere_D, lens.cylinder_D, lens.axis_rad,
                                      question.vertex_mm, question.refraction_se_D};
  eye.lens_power = stated_position(question);
  return eye;
}

// The eye of a residual: a cornea of the asked cylinder about the usual mean, or none.
optics::StatedEye eye_with_cylinder(const OpticsQuestion& question, double steep_rad) {
  optics::StatedEye eye;
  eye.lens_power = stated_position(question);
  if (!question.eye_D) return eye;
  const double mean_D = optics::LensPlane{}.cornea_D;
  eye.keratometry =
      optics::Keratometry{mean_D - 0.5 * *question.eye_D, steep_rad + angle::pi / 2.0,
                          mean_D + 0.5 * *question.eye_D, question.keratometry_se_D, 0.0};
  return eye;
}

Estimate around(double value_deg, double within_deg) {
  return {rad_from_deg(value_deg), rad_from_deg(value_deg - within_deg),
          rad_from_deg(value_deg + within_deg)};
}

// Without a cornea the eye is the one that the lens would clear: equal powers.
std::optional<Estimate> loss_angle(const optics::RefractiveEffect& effect) {
  if (effect.keratometry) return effect.keratometry->loss_angle_rad;
  const double equal_rad = optics::loss_angle_rad(1.0, 1.0).value();
  return Estimate{equal_rad, equal_rad, equal_rad};
}

}  // namespace

int answer_crossed(const OpticsQuestion& question) {
  std::vector<optics::SphereCylinder> lenses;
  for (const std::string& text : question.lenses)
    lenses.push_back(read_lens(text, "optics crossed"));
  const optics::CrossedLenses sum =
      crossed_lenses(lenses, question.lens_se_D,
                     question.plus ? optics::plus_cylinder_from : optics::minus_cylinder_from);
  if (question.json)
    return show({{"lens", report::lens_value(sum.lens)},
                 {"m_D", report::estimate_value(sum.m_D)},
                 {"j0_D", report::estimate_value(sum.j0_D)},
                 {"j45_D", report::estimate_value(sum.j45_D)},
                 {"sphere_D", report::estimate_value(sum.sphere_D)},
                 {"cylinder_D", report::estimate_value(sum.cylinder_D)},
                 {"axis_deg", report::degrees_value(sum.axis_rad)}},
                {});
  fmt::print("{}\nM {:+.4f}  J0 {:+.4f}  J45 {:+.4f} D\n", optics::notation(sum.lens), sum.sum.m_D,
             sum.sum.j0_D, sum.sum.j45_D);
  if (question.lens_se_D > 0.0) {
    constexpr const char* form = "{:+.2f} D (95 %: {:+.2f} to {:+.2f})";
    fmt::print("Sphere {}\nCylinder {}\nAxis {}\n", power_text(sum.sphere_D, form),
               power_text(sum.cylinder_D, form), axis_text(sum.axis_rad));
  }
  return close({});
}

int answer_residual(const OpticsQuestion& question) {
  const double steep_deg = question.steep_deg.value_or(0.0);
  const auto effect = refractive_effect(
      eye_with_cylinder(question, rad_from_deg(steep_deg)), question.cylinder_D,
      around(steep_deg + question.deviation_deg, question.within_deg), rad_from_deg(steep_deg));
  const optics::ResidualEstimate& left =
      effect->keratometry ? effect->keratometry->achieved : effect->deviation->residual;
  const auto loss = loss_angle(*effect);
  // Where the steep meridian is not stated there is no axis to give.
  if (question.json) {
    Json answer{
        {"lens_cylinder_D", report::number(effect->lens_cylinder_D)},
        {"lens_cylinder_corneal_D", report::estimate_value(effect->lens_cylinder_corneal_D)},
        {"plane_ratio", report::estimate_value(effect->plane_ratio)},
        {"residual", report::residual_value(left)},
        {"loss_angle_deg", loss ? report::degrees_value(*loss) : Json()}};
    if (!question.steep_deg)
      answer["residual"] = Json{{"cylinder_D", report::estimate_value(left.cylinder_D)}};
    return show(answer, effect->assumptions);
  }
  fmt::print("Lens at the corneal plane: {}\n", power_text(effect->lens_cylinder_corneal_D));
  fmt::print("Cylinder left: {}\n", power_text(left.cylinder_D));
  if (question.steep_deg)
    fmt::print("Its correction at the corneal plane: {}, axis {}\n",
               optics::notation(left.correction), axis_text(left.axis_rad));
  if (loss)
    fmt::print("All correction is lost at a deviation of {}; beyond that the lens harms.\n",
               turn_text(*loss, "{:.1f} degrees (95 %: {:.1f} to {:.1f})"));
  return close(effect->assumptions);
}

int answer_rerotate(const OpticsQuestion& question) {
  const auto effect =
      refractive_effect(refracted_eye(question), question.cylinder_D,
                        around(question.axis_deg, question.within_deg), std::nullopt);
  if (question.json) return show(report::refraction_value(*effect), effect->assumptions);
  const optics::RefractionEffect& turn = *effect->refraction;
  fmt::print("Best axis: {}\n", axis_text(turn.best_axis_rad));
  fmt::print("Turn from the present axis, counter-clockwise positive: {}\n",
             turn_text(turn.turn_rad));
  fmt::print("Refraction now {}, after the turn {}\n", optics::notation(turn.manifest),
             optics::notation(turn.after_turn));
  constexpr const char* form = "{:+.2f} D (95 %: {:+.2f} to {:+.2f})";
  fmt::print("Sphere after the turn: {}\n", power_text(turn.spectacle_sphere_after_turn_D, form));
  fmt::print("Cylinder of that refraction: {}\n", power_text(turn.spectacle_cylinder_after_turn_D));
  fmt::print("Cylinder at the corneal plane now: {}\n", power_text(turn.cylinder_now_D));
  fmt::print("Cylinder at the corneal plane after: {}\n", power_text(turn.cylinder_after_turn_D));
  fmt::print("Cylinder of the eye without the lens: {}\n", power_text(turn.recovered_cylinder_D));
  fmt::print("Lens cylinder that would leave none: {} (lens plane)\n",
             power_text(turn.exchange_cylinder_D));
  fmt::print("Turn or exchange: {}. {}\n", name_of(turn.remedy), turn.remedy_reason);
  return close(effect->assumptions);
}

}  // namespace rhumb::cli
