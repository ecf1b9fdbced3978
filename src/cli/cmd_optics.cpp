// rhumb optics: what a deviation and a turn do to a refraction, without any recording.
#include <CLI/CLI.hpp>
#include <cmath>
#include <memory>

#include "cli/command.h"
#include "cli/optics_answers.h"
#include "files/user_error.h"

namespace rhumb::cli {
namespace {

// The option parser's ranges let 'nan' through.
void refuse_nan(const OpticsQuestion& q) {
  double sum = q.cylinder_D + q.within_deg + q.deviation_deg + q.axis_deg +
               q.steep_deg.value_or(0) + q.eye_D.value_or(0) + q.vertex_mm + q.refraction_se_D +
               q.keratometry_se_D + q.position_mm.value_or(0) + q.lens_se_D;
  for (const double value : q.keratometry) sum += value;
  if (!std::isfinite(sum))
    throw UserError("optics", "", "an option is not a number", "write plain numbers");
}

using Shared = std::shared_ptr<OpticsQuestion>;

CLI::App* part(CLI::App& optics, Chosen& chosen, const Shared& options, const char* name,
               const char* says, int (*answer)(const OpticsQuestion&)) {
  CLI::App* command = optics.add_subcommand(name, says);
  command->add_flag("--json", options->json, "write JSON instead of sentences");
  command->callback([&chosen, options, answer] {
    chosen.run = [options, answer](const std::stop_token&) {
      refuse_nan(*options);
      return answer(*options);
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
           answer_crossed);
  command->add_option("LENS", options->lenses, "two or more, as -0.50/-1.25x170")
      ->required()
      ->expected(2, 64);
  command->add_option("--se", options->lens_se_D, "standard error of each sphere and cylinder, D")
      ->check(CLI::Range(0.0, 2.0));
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
                           answer_residual);
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
      answer_rerotate);
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
  auto options = std::make_shared<OpticsQuestion>();
  CLI::App* command =
      program.add_subcommand("optics", "What a deviation or a turn does to the refraction");
  command->require_subcommand(1);
  command->footer(footer("rhumb optics rerotate --help"));
  add_residual(*command, chosen, options);
  add_rerotate(*command, chosen, options);
  add_crossed(*command, chosen, options);
}

}  // namespace rhumb::cli
