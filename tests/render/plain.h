// A scene with nothing in it that a test does not want: no clutter, no grain, no motion.
#pragma once

#include "render/stage.h"

namespace rhumb::render::testing {

inline Scene plain_scene() {
  Scene s;
  s.camera.width = 480;
  s.camera.height = 480;
  s.camera.psf_px = 0.0;
  s.camera.noise = 0.0;
  s.camera.text.clear();
  s.microscope.field_mm = 15.0;
  s.microscope.superior = Superior::Top;
  s.microscope.vignette = 0.0;
  s.microscope.lamps = 0;
  s.microscope.gain_wander = 0.0;
  s.reference = Reference::None;
  s.surround = Surround::Open;
  s.clutter.bubbles = 0;
  s.clutter.blood = s.clutter.viscoelastic_mm = s.clutter.tear_shine = 0.0;
  s.clutter.incisions = false;
  s.reflex.flat = 1.0;
  s.reflex.crescent = 0.0;
  s.reflex.cortex = 0.0;
  s.reflex.haze = 0.0;
  s.reflex.rhexis_visible = 0.0;
  s.reflex.capsule_haze = 0.0;
  s.eye.pupil_irregular = 0.0;
  s.eye.vessels = 0.0;
  s.eye.redness = 0.0;
  s.eye.pigment_spots = 0;
  s.motion = {};
  s.motion.torsion_rad = s.motion.torsion_wander_rad = s.motion.tilt_wander_rad = 0.0;
  s.motion.torsion_jumps_per_s = s.motion.shift_wander_mm = s.motion.pulse_mm = 0.0;
  s.motion.tool_push = 0.0;
  s.lens.edge = 0.0;
  s.lens.grey = 0.0;
  s.lens.mark_radius_mm = 2.4;
  s.lens.dot_mm = 0.2;
  return s;
}

// The light of the whole picture at an instant.
inline std::vector<Vec4> light_of(const Stage& stage, double time_s) {
  const auto& c = stage.scene().camera;
  std::vector<Vec4> light(static_cast<std::size_t>(c.width) * static_cast<std::size_t>(c.height));
  stage.shade(stage.at(time_s), 0, c.height, 0, c.width, light.data());
  return light;
}

// A lens that lies at an axis from the beginning.
inline void lay_lens(Scene& s, double axis_rad) {
  s.steps = {{Act::Insert, -100.0, 1.0, axis_rad, Tool::None}};
}

}  // namespace rhumb::render::testing
