#include "validate/suite.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "render/rng.h"
#include "render/scene_file.h"

namespace rhumb::validate {
namespace {

using angle::rad_from_deg;
using render::Scene;

constexpr std::uint64_t first_report_seed = 5'000'000;
constexpr std::uint64_t first_tuning_seed = 1'000;

// An eye and an operation drawn by the seed alone: all that is not under test varies as it does in
// life.
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
  s.steps = {{render::Act::Insert, 0.08 * t, 0.17 * t, from, render::Tool::Injector},
             {render::Act::Turn, 0.38 * t, 0.24 * t, to, render::Tool::Hook}};
  return s;
}

struct Group {
  const char* name;
  const char* unit;
  std::vector<double> levels;
  double usual;
  void (*apply)(Scene&, double);
};

const std::vector<Group>& groups() {
  static const std::vector<Group> all{
      {"contrast",
       "",
       {0.08, 0.15, 0.25, 0.4, 0.6, 0.8},
       0.6,
       [](Scene& s, double v) { s.lens.contrast = v, s.lens.grey = 0.05 * v; }},
      {"blur",
       "mm",
       {0.0, 0.03, 0.06, 0.10, 0.15},
       0.0,
       [](Scene& s, double v) { s.microscope.defocus_mm = v; }},
      {"compression",
       "crf",
       {18, 23, 28, 33, 38, 43},
       21,
       [](Scene& s, double v) { s.camera.crf = static_cast<int>(v); }},
      {"coverage",
       "mm off centre",
       {0.0, 4.0, 6.0, 8.0},
       0.0,
       // The eye wanders out of the picture, which leaves ever less of its limbus.
       [](Scene& s, double v) {
         s.microscope.centre_mm = {v, 0.35 * v}, s.microscope.field_mm = 24.0;
       }},
      {"tilt",
       "deg",
       {0.0, 4.0, 8.0, 12.0, 16.0},
       0.0,
       [](Scene& s, double v) {
         s.motion.tilt_rad = {rad_from_deg(0.8 * v), rad_from_deg(-0.6 * v)};
       }},
      {"torsion speed",
       "deg/s",
       {0.0, 3.0, 10.0, 25.0, 50.0},
       0.0,
       [](Scene& s, double v) { s.motion.sweep_rad_s = rad_from_deg(v); }},
      {"resolution", "px wide", {1280, 960, 640, 480, 320}, 960, [](Scene& s, double v) {
         s.camera.width = static_cast<int>(v);
         s.camera.height = static_cast<int>(v) * 9 / 16 & ~3;
       }}};
  return all;
}

std::string safe(std::string name) {
  for (char& c : name)
    if (c == ' ') c = '-';
  return name;
}

std::vector<Clip> quick_suite(SuiteOptions options) {
  options.width = 480;
  options.height = 272;
  options.seconds = 2.4;
  std::vector<Clip> clips;
  for (const double contrast : {0.6, 0.8}) {
    const auto seed =
        (options.seeds == Seeds::Report ? first_report_seed : first_tuning_seed) + 900'000;
    Scene s = draw_scene(seed, options);
    s.lens.contrast = contrast;
    s.camera.fps = 12.5;
    render::complete(s);
    clips.push_back(
        {fmt::format("quick-{}", clips.size() + 1), {"contrast", "", contrast, false}, s});
  }
  return clips;
}

}  // namespace

std::vector<std::string> suite_names() {
  std::vector<std::string> names{"conditions", "quick"};
  for (const Group& g : groups()) names.push_back(safe(g.name));
  return names;
}

std::vector<Clip> make_suite(const std::string& name, const SuiteOptions& options) {
  if (name == "quick") return quick_suite(options);
  std::vector<Clip> clips;
  // The same eyes under every level of a group, so that levels differ by the condition alone.
  std::uint64_t group_number = 0;
  for (const Group& g : groups()) {
    ++group_number;
    if (name != "conditions" && name != safe(g.name)) continue;
    for (int i = 0; i < options.clips; ++i)
      for (const double level : g.levels) {
        const auto first = options.seeds == Seeds::Report ? first_report_seed : first_tuning_seed;
        Scene s = draw_scene(first + 1000 * group_number + static_cast<std::uint64_t>(i), options);
        g.apply(s, level);
        const std::string clip = fmt::format("{}-{:g}-{}", safe(g.name), level, i + 1);
        s.name = clip;
        render::complete(s);
        clips.push_back({clip, {g.name, g.unit, level, level == g.usual}, s});
      }
  }
  return clips;
}

}  // namespace rhumb::validate
