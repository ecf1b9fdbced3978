// What a case states about the eye's refraction, each with the standard error of its measurement.
#pragma once

#include <optional>

namespace rhumb::optics {

struct Keratometry {
  double flat_D = 0.0;
  double flat_meridian_rad = 0.0;  // the two meridians are perpendicular
  double steep_D = 0.0;
  double se_D = 0.0;               // of each power
  double se_axis_rad = 0.0;
};

struct Refraction {
  double sphere_D = 0.0;
  double cylinder_D = 0.0;  // either sign convention
  double axis_rad = 0.0;
  double vertex_mm = 12.0;
  double se_D = 0.0;        // of sphere and cylinder
};

struct LensPower {
  std::optional<double> sphere_equivalent_D;
  std::optional<double> effective_position_mm;
};

struct StatedEye {
  std::optional<Keratometry> keratometry;
  std::optional<Refraction> refraction;  // measured after surgery with the lens in its present place
  std::optional<LensPower> lens_power;
};

}  // namespace rhumb::optics
