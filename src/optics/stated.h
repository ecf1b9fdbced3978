// What a case states about the eye's refraction, each with the standard error of its measurement.
// Angles are axes in the eye's meridians (ISO 8429). Where a standard error is not stated the
// default below stands; docs/refraction.md gives its source again.
#pragma once

#include <optional>

namespace rhumb::optics {

// Powers of the cornea in its two principal meridians, which are perpendicular.
struct Keratometry {
  double flat_D = 0.0;
  double flat_meridian_rad = 0.0;
  double steep_D = 0.0;
  // Of each power: a radius of 7.8 mm read with SD 0.03 mm (Edmund and Sjontoft 1985,
  // doi 10.1111/j.1755-3768.1985.tb01579.x), through 337.5/r.
  double se_D = 0.17;
  // Of the meridian, on top of what the errors of the powers cause (nothing by default).
  double se_axis_rad = 0.0;
};

struct Refraction {
  double sphere_D = 0.0;
  double cylinder_D = 0.0;  // either sign convention
  double axis_rad = 0.0;
  double vertex_mm = 12.0;  // of the trial frame; common practice, no source
  // Of sphere and of cylinder: 95 % limits of 0.29 D (Rosenfield and Chiu, Optom Vis Sci
  // 1995;72:577-579, from memory, not verified). The axis error follows from it: se / (2 cylinder)
  // radians.
  double se_D = 0.15;
};

struct LensPower {
  std::optional<double> sphere_equivalent_D;    // serves as a check: it implies an eye length
  std::optional<double> effective_position_mm;  // of the thin lens behind the corneal plane
  double se_position_mm = 0.2;                  // of a stated position; common practice, no source
};

struct StatedEye {
  std::optional<Keratometry> keratometry;
  std::optional<Refraction>
      refraction;  // measured after surgery with the lens in its present place
  std::optional<LensPower> lens_power;
};

}  // namespace rhumb::optics
