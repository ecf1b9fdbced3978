// What `rhumb optics` is asked, and its answers on standard output: sentences, or JSON of the same
// form as an outcome's refraction (docs/schemas/optics.schema.json).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "optics/stated.h"

namespace rhumb::cli {

struct OpticsQuestion {
  bool json = false;
  // crossed
  std::vector<std::string> lenses;
  bool plus = false;
  double lens_se_D = 0.0;
  // residual and rerotate: the lens
  double cylinder_D = 0.0;
  double within_deg = 0.0;
  std::optional<double> position_mm;
  // residual
  double deviation_deg = 0.0;
  std::optional<double> steep_deg;
  std::optional<double> eye_D;
  // rerotate
  double axis_deg = 0.0;
  std::string refraction;
  std::vector<double> keratometry;
  double vertex_mm = optics::Refraction{}.vertex_mm;
  double refraction_se_D = optics::Refraction{}.se_D;
  double keratometry_se_D = optics::Keratometry{}.se_D;
};

// Each returns the exit status. UserError where a text is no refraction or no cornea.
int answer_crossed(const OpticsQuestion& question);
int answer_residual(const OpticsQuestion& question);
int answer_rerotate(const OpticsQuestion& question);

}  // namespace rhumb::cli
