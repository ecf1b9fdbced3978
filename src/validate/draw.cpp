#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "render/rng.h"
#include "validate/groups.h"

namespace rhumb::validate {

using angle::rad_from_deg;
using render::Scene;

Scene draw_scene(std::uint64_t seed, const SuiteOptions& options) {
  Scene s;
  render::Rng rng(render::key_of(seed, 0x76616c));
  s.seed = seed;
  s.seconds = options.seconds;
  s.eye.left = rng.chance(0.5);
  s.eye.white_to_white_mm = 11.71 + 0.42 * std::clamp(rng.normal(), -2.0, 2.0);  // Ruefer 2005
  s.eye.limbus_ratio = 0.928 + 0.02 * std::clamp(rng.normal(), -2.0, 2.0);
  s.eye.limbus_turn_rad = rad_from_deg(5.0 * rng.normal());
  s.eye.limbus_soft_mm = rng.uniform(0.4, 0.8);
  s.eye.iris = static_cast<render::Iris>(rng.below(6));
  s.eye.vessels = rng.uniform(0.6, 1.4);
  s.eye.redness = rng.uniform(0.1, 0.5);
  s.eye.yellowness = rng.uniform(0.0, 0.4);
  s.eye.pupil_mm = rng.uniform(6.6, 7.2);
  const bool lines = rng.chance(0.5);
  s.lens.marks = lines ? render::Marks::Lines : render::Marks::Dots;
  s.lens.per_end = lines ? 1 : 2 + rng.below(2);
  s.lens.contrast = 0.6;
  s.lens.haptic = rng.chance(0.7) ? render::Haptic::Loop : render::Haptic::Plate;
  s.lens.decentre_mm = {0.15 * rng.normal(), 0.15 * rng.normal()};  // Ashena 2020: 0.2 to 0.3 mm
  s.lens.tilt_rad = {rad_from_deg(2.0 * rng.normal()), rad_from_deg(2.0 * rng.normal())};
  s.reflex.brightness = rng.uniform(0.4, 0.7);
  s.clutter.bubbles = rng.below(4);
  s.clutter.blood = rng.uniform(0.0, 0.5);
  s.motion.torsion_rad =
      rad_from_deg(4.0 * std::clamp(rng.normal(), -2.5, 2.5));  // Sci Rep 2020;10
  s.motion.tilt_rad = {rad_from_deg(1.5 * rng.normal()), rad_from_deg(1.5 * rng.normal())};
  s.microscope.superior = static_cast<render::Superior>(rng.below(4));
  s.microscope.field_mm = rng.uniform(28.0, 36.0);
  s.camera.width = options.width;
  s.camera.height = options.height;
  s.plan.axis_rad = rad_from_deg(std::floor(rng.uniform(0.0, 180.0)));
  const double from =
      s.plan.axis_rad - rad_from_deg(rng.uniform(8.0, 30.0) * (rng.chance(0.5) ? 1 : -1));
  const double to = s.plan.axis_rad + rad_from_deg(2.5 * rng.normal());
  const double t = options.seconds;
  s.steps = {{render::Act::Insert, 0.06 * t, 0.17 * t, from, render::Tool::Injector},
             {render::Act::Turn, 0.32 * t, 0.20 * t, to, render::Tool::Hook}};
  return s;
}

}  // namespace rhumb::validate
