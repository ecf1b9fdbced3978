#include "validate/groups.h"

#include <cmath>

#include "angle/angle.h"
#include "render/rng.h"
#include "validate/no_lens.h"

namespace rhumb::validate {
namespace {

using angle::rad_from_deg;
using render::Scene;

double end_axis(const Scene& s) { return s.steps.back().axis_rad; }
// When the lens has been turned to where it stays.
double still_from(const Scene& s) { return s.steps.back().at_s + s.steps.back().seconds; }

// Levels of `reference`.
enum Reference { by_ink, by_photo, by_previous_lens, by_none };

void set_reference(Scene& s, double level) {
  switch (static_cast<Reference>(static_cast<int>(level))) {
    case by_ink:
      break;
    case by_photo:
      s.reference = render::Reference::Photo;
      break;
    case by_none:
      s.reference = render::Reference::None;
      break;
    case by_previous_lens: {
      // An exchange in front of the operation.
      constexpr double exchange_s = 2.0;
      render::Rng rng(render::key_of(s.seed, 0x70726576));
      s.reference = render::Reference::PreviousLens;
      s.previous_axis_known = rng.chance(0.5);
      s.has_previous = true;
      s.previous = s.lens;
      s.previous.marks = rng.chance(0.5) ? render::Marks::Lines : render::Marks::Dots;
      s.previous.per_end = s.previous.marks == render::Marks::Lines ? 1 : 3;
      s.previous.haptic = render::Haptic::Plate;
      s.previous_axis_rad = rad_from_deg(rng.uniform(0.0, 180.0));
      s.reflex.capsule_haze = 0.25;
      for (render::Step& step : s.steps) step.at_s += exchange_s;
      s.steps.insert(s.steps.begin(),
                     {render::Act::Remove, exchange_s - 0.8, 0.7, 0.0, render::Tool::Forceps});
      s.seconds += exchange_s;
    }
  }
}

// Levels of `scenario`: one for each kind of trouble that scenes in fixtures/scenes show.
enum Scenario {
  routine,
  washout,
  small_pupil,
  mirrored,
  dull_reflex,
  instrument_on_mark,
  reflex_on_mark,
  bubble_ring,
  pupil_edge,
  rhexis_edge,
  haptics_across,
  torsion_jump,
  eye_leaves,
  zoom_step,
  refocus,
  light_off,
  no_marks,
  no_lens
};

void set_scenario(Scene& s, double level) {
  render::Rng rng(render::key_of(s.seed, 0x7363656e));
  const double still = still_from(s);
  const auto event = [&](render::Happening what, double at_s, double seconds) -> render::Event& {
    s.events.push_back({what, at_s, seconds});
    return s.events.back();
  };
  switch (static_cast<Scenario>(static_cast<int>(level))) {
    case routine:
      break;
    case washout:
      s.clutter.viscoelastic_mm = 0.03;
      s.seconds += 1.5;
      s.steps.push_back({render::Act::Work, still + 0.4, 1.2, 0.0, render::Tool::Aspirator});
      s.steps.push_back({render::Act::Settle, still + 0.6, 0.9,
                         s.steps[s.steps.size() - 2].axis_rad + rad_from_deg(rng.uniform(4, 12)),
                         render::Tool::None});
      break;
    case small_pupil:
      s.eye.pupil_mm = rng.uniform(4.8, 5.8);
      break;
    case mirrored:
      s.microscope.mirrored = true;
      break;
    case dull_reflex:
      s.reflex.brightness = rng.uniform(0.12, 0.22);
      s.reflex.haze = rng.uniform(0.05, 0.12);
      s.reflex.cortex = 0.5;
      break;
    case instrument_on_mark:
      s.seconds += 1.2;
      s.steps.push_back({render::Act::Work, still + 0.5, 1.2, 0.0, render::Tool::Hook, true});
      break;
    case reflex_on_mark: {
      const double a = end_axis(s) + s.motion.torsion_rad + (rng.chance(0.5) ? angle::pi : 0.0);
      s.microscope.lamp_placed = true;
      s.microscope.lamp_at_mm = {2.8 * std::cos(a), 2.8 * std::sin(a)};
      s.microscope.lamp_mm = 0.4;
      break;
    }
    case bubble_ring:
      s.clutter.ring_bubbles = 12 + rng.below(8);
      s.clutter.ring_mm = s.lens.mark_radius_mm + rng.uniform(-0.1, 0.2);
      break;
    case pupil_edge:
      put_crypts_at_pupils_edge(s, rng);
      break;
    case rhexis_edge:
      s.reflex.rhexis_mm = 5.0;
      s.reflex.rhexis_shift_mm = {rng.uniform(-0.6, 0.6), rng.uniform(-0.6, 0.6)};
      s.reflex.rhexis_visible = 1.6;
      s.reflex.capsule_haze = 0.2;
      break;
    case haptics_across:
      s.eye.pupil_mm = 7.8;
      s.lens.optic_mm = 5.7;
      s.lens.mark_radius_mm = 0.5 * s.lens.optic_mm - 0.28;
      s.lens.haptic = render::Haptic::Loop;
      s.lens.haptic_turn_rad = rad_from_deg(rng.uniform(-60, -20));
      s.lens.edge = 1.3;
      break;
    case torsion_jump:
      event(render::Happening::Jump, still + 0.5, 0.0).turn_rad =
          rad_from_deg(rng.chance(0.5) ? 8.0 : -8.0);
      break;
    case eye_leaves:
      s.seconds += 2.0;
      event(render::Happening::Leave, still + 0.3, 2.0).shift_mm = {
          (rng.chance(0.5) ? 1.0 : -1.0) * 1.05 * s.microscope.field_mm, 3.0};
      break;
    case zoom_step:
      s.microscope.field_mm *= 1.25;
      event(render::Happening::Zoom, still + 0.5, 0.3).factor = 1.6;
      break;
    case refocus:
      s.seconds += 1.0;
      event(render::Happening::Refocus, still + 0.4, 1.2).defocus_mm = 0.4;
      break;
    case light_off:
      s.seconds += 0.8;
      event(render::Happening::Lamp, still + 0.4, 0.8).factor = 0.004;
      break;
    case no_marks:
      s.lens.marks = render::Marks::None;
      s.negative = true;
      s.negative_kind = "non-toric";
      break;
    case no_lens:
      leave_lens_out(s, rng);
      s.clutter.bubbles = rng.below(12);
      break;
  }
}

}  // namespace

std::vector<Group> make_groups() {
  return {{"resolution",
           {{1280, "1280 px", true},
            {960, "960 px", true},
            {640, "640 px", true},
            {480, "480 px", false},
            {320, "320 px", false}},
           0,
           [](Scene& s, double v) {
             const double shape = static_cast<double>(s.camera.height) / s.camera.width;
             s.camera.width = static_cast<int>(v);
             s.camera.height = static_cast<int>(std::lround(v * shape)) & ~3;
           }},
          {"contrast",
           {{0.8, "0.8", false},
            {0.6, "0.6", true},
            {0.4, "0.4", false},
            {0.25, "0.25", true},
            {0.15, "0.15", true},
            {0.08, "0.08", false}},
           1,
           [](Scene& s, double v) { s.lens.contrast = v, s.lens.grey = 0.05 * v; }},
          {"blur",
           {{0.0, "0 mm", true},
            {0.03, "0.03 mm", true},
            {0.06, "0.06 mm", true},
            {0.10, "0.10 mm", false},
            {0.15, "0.15 mm", false}},
           0,
           [](Scene& s, double v) { s.microscope.defocus_mm = v; }},
          {"compression",
           {{18, "crf 18", false},
            {21, "crf 21", true},
            {28, "crf 28", true},
            {34, "crf 34", true},
            {40, "crf 40", false}},
           1,
           [](Scene& s, double v) { s.camera.crf = static_cast<int>(v); }},
          // The eye wanders out of the picture, which leaves ever less of its limbus.
          {"coverage",
           {{0.0, "whole limbus", true},
            {4.0, "4 mm off centre", true},
            {6.0, "6 mm off centre", true},
            {8.0, "8 mm off centre", false}},
           0,
           [](Scene& s, double v) {
             if (v > 0.0) s.microscope.centre_mm = {v, 0.35 * v}, s.microscope.field_mm = 24.0;
           }},
          {"tilt",
           {{0.0, "0 deg", true},
            {5.0, "5 deg", true},
            {10.0, "10 deg", true},
            {15.0, "15 deg", false}},
           0,
           [](Scene& s, double v) {
             s.motion.tilt_rad[0] += rad_from_deg(0.8 * v);
             s.motion.tilt_rad[1] -= rad_from_deg(0.6 * v);
           }},
          {"motion",
           {{0.0, "usual", true},
            {5.0, "turning 5 deg/s", true},
            {20.0, "turning 20 deg/s", true},
            {50.0, "turning 50 deg/s", false}},
           0,
           [](Scene& s, double v) { s.motion.sweep_rad_s = rad_from_deg(v); }},
          {"reference",
           {{by_ink, "ink", true},
            {by_photo, "photo", true},
            {by_previous_lens, "previous lens", true},
            {by_none, "none", false}},
           0,
           set_reference},
          {"scenario",
           {{routine, "routine", true},
            {washout, "washout", true},
            {small_pupil, "small pupil", true},
            {mirrored, "mirrored", true},
            {dull_reflex, "dull reflex", true},
            {instrument_on_mark, "instrument on a mark", true},
            {reflex_on_mark, "reflex on a mark", true},
            {bubble_ring, "bubble ring", true},
            {pupil_edge, "pupil's edge", true},
            {rhexis_edge, "rhexis edge", true},
            {haptics_across, "haptics across", true},
            {torsion_jump, "torsion jump", true},
            {eye_leaves, "eye leaves", true},
            {zoom_step, "zoom step", true},
            {refocus, "refocus", true},
            {light_off, "light off", true},
            {no_marks, "no marks", true},
            {no_lens, "no lens", true}},
           0,
           set_scenario},
          no_lens_group()};
}

}  // namespace rhumb::validate
