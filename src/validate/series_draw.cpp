// Which eyes and visits a suite of follow-up series holds.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "render/rng.h"
#include "render/scene_file.h"
#include "validate/series_suite.h"

namespace rhumb::validate {
namespace {

using angle::rad_from_deg;
using render::Rng;
using render::Scene;

constexpr std::uint64_t first_report_seed = 7'000'000;
constexpr std::uint64_t first_tuning_seed = 70'000;

struct When {
  const char* label;
  const char* date;
};
constexpr When schedule[] = {{"1 hour", "2026-01-05"},
                             {"1 day", "2026-01-06"},
                             {"1 week", "2026-01-12"},
                             {"1 month", "2026-02-04"},
                             {"3 months", "2026-04-07"}};

double cut_normal(Rng& rng, double most) { return std::clamp(rng.normal(), -most, most); }

// Rotation to the first day: mostly half-normal about two degrees, some lenses turn by 5 to 25;
// later half-normal about 0.4 degrees (published series of 100 to 1300 eyes, 2017 to 2024).
double next_turn_deg(Rng& rng, bool early) {
  const double side = rng.chance(0.6) ? 1 : -1;  // counter-clockwise a little more often
  if (!early) return side * 0.5 * std::abs(rng.normal());
  return side * (rng.chance(0.06) ? rng.uniform(5, 25) : 2.5 * std::abs(rng.normal()));
}

render::Visit draw_visit(Rng& rng, const When& when, double axis_rad, bool first) {
  render::Visit v;
  v.label = when.label;
  v.date = when.date;
  v.axis_rad = axis_rad;
  // Between visits the head stands 2.3 +/- 1.7 degrees off (Viestenz 2005, from memory).
  v.head_tilt_rad = rad_from_deg(3.5 * cut_normal(rng, 3));
  v.tilt_rad = {rad_from_deg(2.5 * cut_normal(rng, 2.5)), rad_from_deg(2.5 * cut_normal(rng, 2.5))};
  const double light = rng.uniform();
  v.light = light < 0.5   ? render::Light::Retro
            : light < 0.8 ? render::Light::Diffuse
                          : render::Light::Slit;
  v.pupil_mm = rng.uniform(5.6, 7.2);  // an optic has 6
  v.field_mm = rng.uniform(17.0, 30.0);
  v.redness = rng.uniform(0.1, first ? 0.7 : 0.4);
  v.vessels_changed = rng.uniform(0.0, 0.25);
  v.capsule_haze = rng.uniform(0.0, 0.4);
  return v;
}

Scene draw_one(std::uint64_t seed, int number) {
  Scene s;
  Rng rng(render::key_of(seed, 0x666f6c));
  s.seed = seed;
  s.name = fmt::format("series-{}", number);
  s.eye.left = rng.chance(0.5);
  s.eye.white_to_white_mm = 11.71 + 0.42 * cut_normal(rng, 2);  // Ruefer 2005
  s.eye.limbus_ratio = 0.928 + 0.02 * cut_normal(rng, 2);
  s.eye.limbus_turn_rad = rad_from_deg(5.0 * rng.normal());
  s.eye.limbus_soft_mm = rng.uniform(0.4, 0.9);
  s.eye.iris = static_cast<render::Iris>(rng.below(6));
  s.eye.iris_contrast = rng.uniform(0.6, 1.1);
  s.eye.vessels = rng.uniform(0.4, 1.5);
  s.eye.yellowness = rng.uniform(0.0, 0.5);
  s.eye.arcus = rng.chance(0.2) ? rng.uniform(0.2, 0.8) : 0.0;
  const bool lines = rng.chance(0.4);
  s.lens.marks = lines ? render::Marks::Lines : render::Marks::Dots;
  s.lens.per_end = lines ? 1 : 2 + rng.below(2);
  s.lens.contrast = rng.uniform(0.3, 0.85);
  s.lens.haptic = rng.chance(0.75) ? render::Haptic::Loop : render::Haptic::Plate;
  s.lens.haptic_turn_rad = rng.uniform(0.0, angle::pi);
  s.lens.decentre_mm = {0.2 * cut_normal(rng, 2), 0.2 * cut_normal(rng, 2)};  // Ashena 2020
  s.lens.tilt_rad = {rad_from_deg(2.5 * cut_normal(rng, 2)),
                     rad_from_deg(2.5 * cut_normal(rng, 2))};
  s.camera.noise = rng.uniform(0.003, 0.014);
  s.camera.psf_px = rng.uniform(0.6, 1.6);
  s.plan.axis_rad = rad_from_deg(std::floor(rng.uniform(0.0, 180.0)));
  double axis = s.plan.axis_rad + rad_from_deg(2.5 * rng.normal());
  const int visits = 3 + rng.below(3);
  for (int v = 0; v < visits; ++v) {
    if (v > 0) axis += rad_from_deg(next_turn_deg(rng, v == 1));
    s.visits.push_back(draw_visit(rng, schedule[v], axis, v == 0));
  }
  render::complete(s);
  return s;
}

}  // namespace

std::vector<Scene> draw_series(int count, Seeds seeds) {
  std::vector<Scene> out;
  const std::uint64_t first = seeds == Seeds::Report ? first_report_seed : first_tuning_seed;
  for (int i = 0; i < count; ++i)
    out.push_back(draw_one(first + static_cast<std::uint64_t>(i), i + 1));
  return out;
}

}  // namespace rhumb::validate
