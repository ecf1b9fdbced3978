// rhumb optics: what a deviation and a turn do to a refraction, without any recording.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "angle/angle.h"
#include "cli/command.h"
#include "files/user_error.h"
#include "optics/effect.h"
#include "optics/notation.h"
#include "optics/residual.h"
#include "optics/vergence.h"

namespace rhumb::cli {
namespace {

using angle::deg_from_rad;
using angle::rad_from_deg;
using optics::Estimate;
using Json = nlohmann::ordered_json;

struct Options {
  bool json = false;
  std::vector<std::string> lenses;  // crossed
  bool plus = false;
  double cylinder_D = 0.0;  // residual, rerotate
  double within_deg = 0.0;
  double deviation_deg = 0.0;
  double axis_deg = 0.0;
  double steep_deg = -1.0;
  double eye_D = -1.0;
  std::string refraction;
  std::vector<double> keratometry;
  double vertex_mm = optics::Refraction{}.vertex_mm;
  double refraction_se_D = optics::Refraction{}.se_D;
  double keratometry_se_D = optics::Keratometry{}.se_D;
  double position_mm = -1.0;
};

constexpr const char* surgeon =
    "A calculation for review. Turning or exchanging a lens is decided by a licensed surgeon on "
    "the patient in "
    "front of them.";

optics::SphereCylinder read_lens(const std::string& text, const std::string& place) {
  if (const auto lens = optics::parse_notation(text)) return *lens;
  throw UserError(
      place, "", "'" + text + "' is no refraction",
      "write sphere/cylinder x axis, such as -0.50/-1.25x170, with an axis from 0 to 180");
}

std::string power_text(const Estimate& e) {
  return fmt::format("{:.2f} D (95 %: {:.2f} to {:.2f})", e.value, e.low, e.high);
}

// decimals of an angle that is a difference, in degrees
std::string angle_text(const Estimate& e,
                       const char* form = "{:+.1f} degrees (95 %: {:+.1f} to {:+.1f})") {
  return fmt::format(fmt::runtime(form), deg_from_rad(e.value), deg_from_rad(e.low),
                     deg_from_rad(e.high));
}

Json power_json(const Estimate& e) {
  return {{"value_D", e.value}, {"low_D", e.low}, {"high_D", e.high}};
}
Json angle_json(const Estimate& e) {
  return {{"value_deg", deg_from_rad(e.value)},
          {"low_deg", deg_from_rad(e.low)},
          {"high_deg", deg_from_rad(e.high)}};
}
Json lens_json(const optics::SphereCylinder& lens) {
  return {{"sphere_D", lens.sphere_D},
          {"cylinder_D", lens.cylinder_D},
          {"axis_deg", deg_from_rad(lens.axis_rad)}};
}

void show(const Json& json) { fmt::print("{}\n", json.dump(2)); }

void show_assumptions(const std::vector<std::string>& assumptions) {
  for (const std::string& assumption : assumptions) fmt::print("  {}\n", assumption);
  fmt::print("{}\n", surgeon);
}

// The option parser's ranges let 'nan' through.
void refuse_nan(const Options& o) {
  double sum = o.cylinder_D + o.within_deg + o.deviation_deg + o.axis_deg + o.steep_deg + o.eye_D +
               o.vertex_mm + o.refraction_se_D + o.keratometry_se_D + o.position_mm;
  for (const double value : o.keratometry) sum += value;
  if (!std::isfinite(sum))
    throw UserError("optics", "", "an option is not a number", "write plain numbers");
}

int crossed(const Options& options) {
  optics::PowerVector sum;
  for (const std::string& text : options.lenses)
    sum = sum + vector_from(read_lens(text, "optics crossed"));
  const optics::SphereCylinder lens =
      options.plus ? optics::plus_cylinder_from(sum) : optics::minus_cylinder_from(sum);
  if (options.json) {
    Json json = lens_json(lens);
    json["m_D"] = sum.m_D;
    json["j0_D"] = sum.j0_D;
    json["j45_D"] = sum.j45_D;
    show(json);
  } else {
    fmt::print("{}\nM {:+.4f}  J0 {:+.4f}  J45 {:+.4f} D\n", optics::notation(lens), sum.m_D,
               sum.j0_D, sum.j45_D);
  }
  return exit_done;
}

optics::StatedEye stated_by(const Options& options) {
  optics::StatedEye eye;
  if (!options.keratometry.empty()) {
    const double flat_D = options.keratometry[0];
    const double steep_D = options.keratometry[1];
    const double steep_deg = options.keratometry[2];
    if (!(flat_D >= 25.0 && flat_D <= steep_D && steep_D <= 75.0 && steep_deg >= 0.0 &&
          steep_deg <= 180.0))
      throw UserError(
          "optics", "--keratometry", "not a cornea",
          "give flat power, steep power (25 to 75 D, flat first) and steep meridian (0 to 180)");
    eye.keratometry = optics::Keratometry{flat_D, rad_from_deg(steep_deg + 90.0), steep_D,
                                          options.keratometry_se_D, 0.0};
  }
  if (!options.refraction.empty()) {
    const optics::SphereCylinder lens = read_lens(options.refraction, "optics, --refraction");
    eye.refraction = optics::Refraction{lens.sphere_D, lens.cylinder_D, lens.axis_rad,
                                        options.vertex_mm, options.refraction_se_D};
  }
  if (options.position_mm > 0.0) eye.lens_power = optics::LensPower{{}, options.position_mm};
  return eye;
}

// The eye of a residual: a cornea of the asked cylinder about the usual mean, or none.
optics::StatedEye eye_with_cylinder(const Options& options, double steep_rad) {
  optics::StatedEye eye;
  if (options.position_mm > 0.0) eye.lens_power = optics::LensPower{{}, options.position_mm};
  if (options.eye_D < 0.0) return eye;
  const double mean_D = optics::LensPlane{}.cornea_D;
  eye.keratometry =
      optics::Keratometry{mean_D - 0.5 * options.eye_D, steep_rad + angle::pi / 2.0,
                          mean_D + 0.5 * options.eye_D, options.keratometry_se_D, 0.0};
  return eye;
}

Estimate around(double value_deg, double within_deg) {
  return {rad_from_deg(value_deg), rad_from_deg(value_deg - within_deg),
          rad_from_deg(value_deg + within_deg)};
}

int residual(const Options& options) {
  const double steep_rad = rad_from_deg(std::max(options.steep_deg, 0.0));
  const double axis_deg = std::max(options.steep_deg, 0.0) + options.deviation_deg;
  const auto effect = refractive_effect(eye_with_cylinder(options, steep_rad), options.cylinder_D,
                                        around(axis_deg, options.within_deg), steep_rad);
  const optics::ResidualEstimate& left =
      effect->keratometry ? effect->keratometry->achieved : effect->deviation->residual;
  // Without a cornea the eye is the one that the lens would clear: it is lost at 30 degrees.
  const double lens_D = effect->lens_cylinder_corneal_D.value;
  const auto loss = effect->keratometry
                        ? effect->keratometry->loss_angle_rad
                        : std::optional(Estimate{*optics::loss_angle_rad(lens_D, lens_D),
                                                 *optics::loss_angle_rad(lens_D, lens_D),
                                                 *optics::loss_angle_rad(lens_D, lens_D)});
  if (options.json) {
    Json json{{"lens_at_cornea", power_json(effect->lens_cylinder_corneal_D)},
              {"plane_ratio", effect->plane_ratio.value},
              {"residual_cylinder", power_json(left.cylinder_D)}};
    if (options.steep_deg >= 0.0) json["correction_at_cornea"] = lens_json(left.correction);
    json["loss_angle"] = loss ? angle_json(*loss) : Json(nullptr);
    json["assumptions"] = effect->assumptions;
    json["caution"] = surgeon;
    show(json);
    return exit_done;
  }
  fmt::print("Lens at the corneal plane: {}\n", power_text(effect->lens_cylinder_corneal_D));
  fmt::print("Cylinder left: {}\n", power_text(left.cylinder_D));
  if (options.steep_deg >= 0.0)
    fmt::print("Its correction at the corneal plane: {}\n", optics::notation(left.correction));
  if (loss)
    fmt::print("All correction is lost at a deviation of {}; beyond that the lens harms.\n",
               angle_text(*loss, "{:.1f} degrees (95 %: {:.1f} to {:.1f})"));
  show_assumptions(effect->assumptions);
  return exit_done;
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

Json rerotate_json(const optics::RefractiveEffect& effect) {
  const optics::RefractionEffect& turn = *effect.refraction;
  Json json{{"best_axis", angle_json(turn.best_axis_rad)},
            {"turn", angle_json(turn.turn_rad)},
            {"eye_cylinder", power_json(turn.recovered_cylinder_D)},
            {"lens_at_cornea", power_json(effect.lens_cylinder_corneal_D)},
            {"cylinder_now", power_json(turn.cylinder_now_D)},
            {"cylinder_after_turn", power_json(turn.cylinder_after_turn_D)},
            {"refraction_now", lens_json(turn.manifest)},
            {"refraction_after_turn", lens_json(turn.after_turn)},
            {"exchange_cylinder", power_json(turn.exchange_cylinder_D)},
            {"remedy", remedy_word(turn.remedy)},
            {"remedy_reason", turn.remedy_reason}};
  for (const optics::CurveEstimate& point : turn.curve) {
    Json row = power_json(point.cylinder_D);
    row["axis_deg"] = deg_from_rad(point.axis_rad);
    json["curve"].push_back(std::move(row));
  }
  json["assumptions"] = effect.assumptions;
  json["caution"] = surgeon;
  return json;
}

int rerotate(const Options& options) {
  const auto effect = refractive_effect(stated_by(options), options.cylinder_D,
                                        around(options.axis_deg, options.within_deg), std::nullopt);
  if (options.json) {
    show(rerotate_json(*effect));
    return exit_done;
  }
  const optics::RefractionEffect& turn = *effect->refraction;
  const Estimate& best = turn.best_axis_rad;
  fmt::print("Best axis: {} degrees, {:.1f} either way at most (95 %)\n",
             optics::axis_text(best.value, 1),
             deg_from_rad(std::max(best.high - best.value, best.value - best.low)));
  fmt::print("Turn from the present axis, counter-clockwise positive: {}\n",
             angle_text(turn.turn_rad));
  fmt::print("Refraction now {}, after the turn {}\n", optics::notation(turn.manifest),
             optics::notation(turn.after_turn));
  fmt::print("Cylinder at the corneal plane now: {}\n", power_text(turn.cylinder_now_D));
  fmt::print("Cylinder at the corneal plane after: {}\n", power_text(turn.cylinder_after_turn_D));
  fmt::print("Cylinder of the eye without the lens: {}\n", power_text(turn.recovered_cylinder_D));
  fmt::print("Lens cylinder that would leave none: {} (lens plane)\n",
             power_text(turn.exchange_cylinder_D));
  fmt::print("Turn or exchange: {}. {}\n", remedy_word(turn.remedy), turn.remedy_reason);
  show_assumptions(effect->assumptions);
  return exit_done;
}

using Shared = std::shared_ptr<Options>;

CLI::App* part(CLI::App& optics, Chosen& chosen, const Shared& options, const char* name,
               const char* says, int (*run)(const Options&)) {
  CLI::App* command = optics.add_subcommand(name, says);
  command->add_flag("--json", options->json, "write JSON instead of sentences");
  command->callback([&chosen, options, run] {
    chosen.run = [options, run](const std::stop_token&) {
      refuse_nan(*options);
      return run(*options);
    };
  });
  return command;
}

void add_crossed(CLI::App& optics, Chosen& chosen, const Shared& options) {
  CLI::App* command =
      part(optics, chosen, options, "crossed",
           "Sum of sphero-cylinders at any axes, in one plane.\n"
           "Formula: power vectors M = S + C/2, J0 = -C/2 cos 2A, J45 = -C/2 sin 2A, which add up "
           "(Thibos, Wheeler and Horner, Optom Vis Sci 1997;74:367-375).",
           crossed);
  command->add_option("LENS", options->lenses, "two or more, as -0.50/-1.25x170")
      ->required()
      ->expected(2, 64);
  command->add_flag("--plus", options->plus, "write the sum in plus cylinder");
  command->footer(footer("rhumb optics crossed 0/-1.00x180 0/-2.00x45"));
}

void add_lens(CLI::App* command, const Shared& options) {
  command
      ->add_option("--cylinder", options->cylinder_D,
                   "the lens's cylinder in dioptres, at the lens plane")
      ->required()
      ->check(CLI::Range(0.1, 30.0));
  command
      ->add_option("--within", options->within_deg,
                   "95 % half width of the lens's axis, in degrees")
      ->check(CLI::Range(0.0, 45.0));
  command
      ->add_option(
          "--position", options->position_mm,
          "effective position of the lens behind the cornea, in mm; 4.6 +/- 0.5 when left out")
      ->check(CLI::Range(2.0, 9.0));
}

void add_residual(CLI::App& optics, Chosen& chosen, const Shared& options) {
  CLI::App* command = part(optics, chosen, options, "residual",
                           "What a toric lens leaves at a deviation.\n"
                           "Formula: law of cosines in the double-angle plane, R^2 = A^2 + L^2 - 2 "
                           "A L cos 2d; lost at cos 2d = L/(2A) "
                           "(Felipe et al., J Cataract Refract Surg 2011); 2 L sin d for equal "
                           "powers (Morlet, Minassian and Dart, "
                           "Br J Ophthalmol 2001;85).",
                           residual);
  add_lens(command, options);
  command->add_option("--deviation", options->deviation_deg, "degrees, counter-clockwise positive")
      ->required()
      ->check(CLI::Range(-90.0, 90.0));
  command
      ->add_option("--eye", options->eye_D,
                   "the cornea's cylinder in dioptres; equal to the lens's effect when left out")
      ->check(CLI::Range(0.0, 20.0));
  command
      ->add_option("--eye-se", options->keratometry_se_D, "standard error of each corneal power, D")
      ->check(CLI::Range(0.0, 2.0));
  command
      ->add_option("--steep", options->steep_deg,
                   "the cornea's steep meridian, to give the axis of the rest")
      ->check(CLI::Range(0.0, 180.0));
  command->footer(footer(
      "rhumb optics residual --cylinder 2.25 --deviation 7 --within 1 --eye 1.8 --steep 90"));
}

void add_rerotate(CLI::App& optics, Chosen& chosen, const Shared& options) {
  CLI::App* command = part(
      optics, chosen, options, "rerotate",
      "The axis at which a lens would leave least, from a refraction over it.\n"
      "Formula: eye = -(refraction) - lens as power vectors at the corneal plane; best axis = its "
      "steep meridian, "
      "least residual |eye - lens| (Thibos and Horner, J Cataract Refract Surg 2001;27:80-85).",
      rerotate);
  command
      ->add_option("--refraction", options->refraction,
                   "over the lens, as --refraction=-0.50/-1.25x170")
      ->required();
  command->add_option("--axis", options->axis_deg, "present axis of the lens's marks, degrees")
      ->required()
      ->check(CLI::Range(0.0, 180.0));
  add_lens(command, options);
  command->add_option("--vertex", options->vertex_mm, "vertex distance of the refraction, mm")
      ->check(CLI::Range(0.0, 25.0));
  command
      ->add_option("--refraction-se", options->refraction_se_D,
                   "standard error of sphere and cylinder, D")
      ->check(CLI::Range(0.0, 2.0));
  command->add_option("--keratometry", options->keratometry, "FLAT STEEP STEEP_MERIDIAN")
      ->expected(3);
  command->footer(footer(
      "rhumb optics rerotate --refraction=+0.25/-1.25x148 --axis 97 --within 1 --cylinder 3.0"));
}

}  // namespace

void add_optics(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command =
      program.add_subcommand("optics", "What a deviation or a turn does to the refraction");
  command->require_subcommand(1);
  command->footer(footer("rhumb optics rerotate --help"));
  add_residual(*command, chosen, options);
  add_rerotate(*command, chosen, options);
  add_crossed(*command, chosen, options);
}

}  // namespace rhumb::cli
