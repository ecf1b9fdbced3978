#include "render/scene_file.h"

#include <fmt/core.h>
#include <toml++/toml.h>

#include <cmath>
#include <functional>
#include <set>

#include "angle/angle.h"
#include "files/user_error.h"
#include "render/rng.h"
#include "render/scene_section.h"

namespace rhumb::render {
namespace {

using angle::rad_from_deg;

const double deg = rad_from_deg(1.0);

void read_eye(Section s, Eyeball& e) {
  s.choice<bool>("side", e.left, {{"right", false}, {"left", true}});
  s.number("white_to_white_mm", e.white_to_white_mm, 9.5, 14.0);
  s.number("limbus_ratio", e.limbus_ratio, 0.8, 1.1);
  s.angle("limbus_turn_deg", e.limbus_turn_rad, -90, 90);
  s.number("limbus_soft_mm", e.limbus_soft_mm, 0.05, 1.5);
  s.number("corneal_radius_mm", e.corneal_radius_mm, 7.0, 9.5);
  s.number("scleral_radius_mm", e.scleral_radius_mm, 10.0, 14.0);
  s.number("refractive_index", e.refractive_index, 1.0, 1.5);
  s.number("iris_depth_mm", e.iris_depth_mm, 2.0, 5.0);
  s.number("lens_depth_mm", e.lens_depth_mm, 2.5, 6.5);
  s.number("pupil_mm", e.pupil_mm, 1.5, 9.5);
  s.number("pupil_irregular", e.pupil_irregular, 0, 0.15);
  s.tuple("pupil_shift_mm", e.pupil_shift_mm, -1, 1);
  s.number("pupil_shrink_mm", e.pupil_shrink_mm, 0, 4);
  s.choice<Iris>("iris", e.iris,
                 {{"blue", Iris::Blue},
                  {"grey", Iris::Grey},
                  {"green", Iris::Green},
                  {"hazel", Iris::Hazel},
                  {"brown", Iris::Brown},
                  {"dark-brown", Iris::DarkBrown}});
  s.number("iris_contrast", e.iris_contrast, 0, 2);
  s.number("vessels", e.vessels, 0, 3);
  s.number("redness", e.redness, 0, 1);
  s.number("yellowness", e.yellowness, 0, 1);
  s.number("arcus", e.arcus, 0, 1);
  s.whole("pigment_spots", e.pigment_spots, 0, 100);
  s.whole("edge_crypts", e.edge_crypts, 0, 60);
  s.whole("edge_vessels", e.edge_vessels, 0, 60);
  s.done();
}

void read_lens(Section s, Lens& l) {
  s.choice<Marks>("marks", l.marks,
                  {{"dots", Marks::Dots}, {"lines", Marks::Lines}, {"none", Marks::None}});
  if (l.marks == Marks::Lines) l.per_end = 1;
  s.whole("marks_per_end", l.per_end, 1, 6);
  s.number("optic_mm", l.optic_mm, 4.5, 7.5);
  l.mark_radius_mm = 0.5 * l.optic_mm - 0.28;
  s.number("mark_radius_mm", l.mark_radius_mm, 1.0, 3.7);
  s.number("dot_mm", l.dot_mm, 0.05, 0.5);
  s.number("dot_gap_mm", l.dot_gap_mm, 0.1, 0.8);
  s.number("line_mm", l.line_mm, 0.2, 2.0);
  s.number("line_width_mm", l.line_width_mm, 0.03, 0.4);
  s.number("contrast", l.contrast, 0, 1);
  s.number("grey", l.grey, 0, 0.5);
  s.choice<Haptic>("haptic", l.haptic, {{"loop", Haptic::Loop}, {"plate", Haptic::Plate}});
  s.angle("haptic_turn_deg", l.haptic_turn_rad, -180, 180);
  s.tuple("decentre_mm", l.decentre_mm, -1.5, 1.5);
  s.tuple("tilt_deg", l.tilt_rad, -20, 20, deg);
  s.number("edge", l.edge, 0, 2);
  s.number("rings", l.rings, 0, 1);
  s.number("cylinder_D", l.cylinder_D, 0, 12);
  s.done();
}

void read_ink(Section s, Ink& k) {
  s.list("meridians_deg", k.meridians_rad, 0, 360, deg);
  s.list("errors_deg", k.errors_rad, -15, 15, deg);
  s.angle("error_sd_deg", k.error_sd_rad, 0, 5);
  s.number("strength", k.strength, 0, 3);
  s.number("width_mm", k.width_mm, 0.05, 2);
  s.number("length_mm", k.length_mm, 0.3, 6);
  s.number("spread_mm", k.spread_mm, 0, 2);
  s.number("fade", k.fade, 0, 1);
  s.flag("target", k.target);
  s.angle("target_error_deg", k.target_error_rad, -15, 15);
  s.done();
}

void read_reflex(Section s, Reflex& r) {
  s.tuple("colour", r.colour, 0, 1.5);
  s.number("brightness", r.brightness, 0, 3);
  s.number("flat", r.flat, 0, 1);
  s.number("patch_mm", r.patch_mm, 0.5, 10);
  s.number("crescent", r.crescent, 0, 1);
  s.number("haze", r.haze, 0, 1);
  s.number("rhexis_mm", r.rhexis_mm, 3, 7);
  s.tuple("rhexis_shift_mm", r.rhexis_shift_mm, -1.5, 1.5);
  s.number("rhexis_visible", r.rhexis_visible, 0, 2);
  s.number("capsule_haze", r.capsule_haze, 0, 1);
  s.number("cortex", r.cortex, 0, 1);
  s.flag("tension_ring", r.tension_ring);
  s.done();
}

void read_clutter(Section s, Clutter& c) {
  s.whole("bubbles", c.bubbles, 0, 40);
  s.whole("ring_bubbles", c.ring_bubbles, 0, 80);
  s.number("ring_mm", c.ring_mm, 0.5, 5);
  s.number("blood", c.blood, 0, 1);
  s.number("viscoelastic_mm", c.viscoelastic_mm, 0, 0.2);
  s.number("tear_shine", c.tear_shine, 0, 2);
  s.flag("incisions", c.incisions);
  s.angle("incision_deg", c.incision_rad, 0, 360);
  s.angle("side_port_deg", c.side_port_rad, 0, 360);
  s.done();
}

void read_motion(Section s, Motion& m) {
  s.angle("torsion_deg", m.torsion_rad, -30, 30);
  s.angle("torsion_wander_deg", m.torsion_wander_rad, 0, 10);
  s.number("torsion_jumps_per_s", m.torsion_jumps_per_s, 0, 5);
  s.angle("torsion_jump_deg", m.torsion_jump_rad, 0, 10);
  s.angle("sweep_deg_per_s", m.sweep_rad_s, 0, 90);
  s.tuple("tilt_deg", m.tilt_rad, -25, 25, deg);
  s.angle("tilt_wander_deg", m.tilt_wander_rad, 0, 15);
  s.number("shift_wander_mm", m.shift_wander_mm, 0, 6);
  s.number("pulse_mm", m.pulse_mm, 0, 0.3);
  s.number("pulse_hz", m.pulse_hz, 0.3, 3);
  s.number("tool_push", m.tool_push, 0, 5);
  s.done();
}

void read_microscope(Section s, Microscope& m) {
  s.choice<Superior>("superior", m.superior,
                     {{"top", Superior::Top},
                      {"bottom", Superior::Bottom},
                      {"left", Superior::Left},
                      {"right", Superior::Right}});
  s.flag("mirrored", m.mirrored);
  s.choice<Light>("light", m.light,
                  {{"coaxial", Light::Coaxial},
                   {"diffuse", Light::Diffuse},
                   {"retro", Light::Retro},
                   {"slit", Light::Slit}});
  s.number("field_mm", m.field_mm, 10, 80);
  s.tuple("centre_mm", m.centre_mm, -15, 15);
  s.number("field_edge_mm", m.field_edge_mm, 0, 80);
  s.number("exposure", m.exposure, 0.05, 8);
  s.number("gain_wander", m.gain_wander, 0, 0.5);
  s.tuple("white", m.white, 0.3, 3);
  s.number("defocus_mm", m.defocus_mm, 0, 1);
  s.number("defocus_wander_mm", m.defocus_wander_mm, 0, 1);
  s.number("vignette", m.vignette, 0, 1);
  s.whole("lamps", m.lamps, 0, 6);
  s.number("lamp_mm", m.lamp_mm, 0.02, 1);
  m.lamp_placed = s.has("lamp_at_mm");
  s.tuple("lamp_at_mm", m.lamp_at_mm, -5, 5);
  s.number("slit_mm", m.slit_mm, 0.3, 12);
  s.done();
}

void read_camera(Section s, CameraSettings& c) {
  s.whole("width", c.width, 160, 4096);
  s.whole("height", c.height, 120, 2304);
  s.number("fps", c.fps, 5, 120);
  s.number("shutter", c.shutter, 0, 1);
  s.flag("interlaced", c.interlaced);
  s.number("psf_px", c.psf_px, 0, 6);
  s.number("sharpen", c.sharpen, 0, 2);
  s.number("noise", c.noise, 0, 0.2);
  s.whole("crf", c.crf, 0, 51);
  s.text("text", c.text);
  s.done();
}

const std::vector<std::pair<const char*, Tool>> tools{
    {"none", Tool::None},           {"hook", Tool::Hook},       {"cannula", Tool::Cannula},
    {"aspirator", Tool::Aspirator}, {"forceps", Tool::Forceps}, {"injector", Tool::Injector}};

Step read_step(Section s, const Scene& scene) {
  Step step;
  s.choice<Act>("do", step.act,
                {{"insert", Act::Insert},
                 {"turn", Act::Turn},
                 {"settle", Act::Settle},
                 {"work", Act::Work},
                 {"remove", Act::Remove}});
  s.number("at_s", step.at_s, 0, scene.seconds);
  s.number("seconds", step.seconds, 0.1, 600);
  s.angle("axis_deg", step.axis_rad, -360, 720);
  step.tool = step.act == Act::Insert   ? Tool::Injector
              : step.act == Act::Remove ? Tool::Forceps
              : step.act == Act::Work   ? Tool::Aspirator
              : step.act == Act::Settle ? Tool::None
                                        : Tool::Hook;
  s.choice<Tool>("tool", step.tool, tools);
  s.flag("over_mark", step.over_mark);
  s.done();
  return step;
}

Event read_event(Section s, const Scene& scene) {
  Event e;
  s.choice<Happening>("what", e.what,
                      {{"jump", Happening::Jump},
                       {"leave", Happening::Leave},
                       {"zoom", Happening::Zoom},
                       {"refocus", Happening::Refocus},
                       {"lamp", Happening::Lamp}});
  s.number("at_s", e.at_s, 0, scene.seconds);
  s.number("seconds", e.seconds, 0, 600);
  s.angle("turn_deg", e.turn_rad, -30, 30);
  s.tuple("shift_mm", e.shift_mm, -40, 40);
  s.number("factor", e.factor, 0, 4);
  s.number("defocus_mm", e.defocus_mm, 0, 1);
  if (e.what == Happening::Zoom) e.factor = std::max(e.factor, 0.25);
  s.done();
  return e;
}

Visit read_visit(Section s, const Scene& scene) {
  Visit v;
  v.redness = scene.eye.redness;
  v.field_mm = 24.0;
  s.text("label", v.label);
  s.text("date", v.date);
  s.angle("axis_deg", v.axis_rad, -360, 720);
  s.angle("head_tilt_deg", v.head_tilt_rad, -45, 45);
  s.tuple("tilt_deg", v.tilt_rad, -25, 25, deg);
  s.choice<Light>("light", v.light,
                  {{"diffuse", Light::Diffuse}, {"retro", Light::Retro}, {"slit", Light::Slit}});
  s.number("pupil_mm", v.pupil_mm, 1.5, 9.5);
  s.number("field_mm", v.field_mm, 10, 80);
  s.number("redness", v.redness, 0, 1);
  s.number("vessels_changed", v.vessels_changed, 0, 0.6);
  s.number("capsule_haze", v.capsule_haze, 0, 1);
  s.done();
  return v;
}

Scene from_table(const std::string& file, const toml::table& root, const std::string& stem) {
  const auto section = [&](const char* name) -> Section {
    const toml::node* node = root.get(name);
    if (node != nullptr && !node->is_table())
      throw UserError(file, fmt::format("line {}, {}", node->source().begin.line, name),
                      "is not a table", fmt::format("write [{}] above its keys", name));
    return {file, name, node == nullptr ? nullptr : node->as_table()};
  };
  const std::set<std::string> known{"scene",  "eye",       "lens",   "previous_lens", "ink",
                                    "reflex", "clutter",   "motion", "microscope",    "camera",
                                    "plan",   "reference", "step",   "visit",         "event"};
  for (const auto& [key, node] : root)
    if (!known.contains(std::string(key.str())))
      throw UserError(file,
                      fmt::format("line {}, {}", node.source().begin.line, std::string(key.str())),
                      "is not known here", "see docs/rendering.md for what a scene may hold");
  Scene scene;
  scene.name = stem;
  Section s = section("scene");
  s.text("name", scene.name);
  s.text("shows", scene.shows);
  double seed = 1;
  s.number("seed", seed, 0, 4294967295.0);
  scene.seed = static_cast<std::uint64_t>(seed);
  s.number("seconds", scene.seconds, 0.2, 3600);
  s.flag("lens_goes_in", scene.has_lens);
  s.choice<Surround>(
      "surround", scene.surround,
      {{"operation", Surround::Operation}, {"lids", Surround::Lids}, {"open", Surround::Open}});
  s.choice<std::string>("drape", scene.drape,
                        {{"green", "green"}, {"blue", "blue"}, {"grey", "grey"}});
  s.text("unreadable", scene.negative_kind);
  scene.negative = !scene.negative_kind.empty();
  s.done();
  read_eye(section("eye"), scene.eye);
  read_lens(section("lens"), scene.lens);
  scene.has_previous = root.contains("previous_lens");
  if (scene.has_previous) {
    scene.previous.marks = Marks::Lines;
    Section p = section("previous_lens");
    const toml::table* table = root.get("previous_lens")->as_table();
    toml::table rest = *table;
    p.angle("axis_deg", scene.previous_axis_rad, 0, 180);
    rest.erase("axis_deg");
    read_lens(Section(file, "previous_lens", &rest), scene.previous);
  }
  read_ink(section("ink"), scene.ink);
  read_reflex(section("reflex"), scene.reflex);
  read_clutter(section("clutter"), scene.clutter);
  read_motion(section("motion"), scene.motion);
  read_microscope(section("microscope"), scene.microscope);
  read_camera(section("camera"), scene.camera);
  Section plan = section("plan");
  plan.angle("axis_deg", scene.plan.axis_rad, 0, 180);
  scene.plan.relative = plan.has("from_previous_lens_deg");
  plan.angle("from_previous_lens_deg", scene.plan.axis_rad, -180, 180);
  plan.angle("tolerance_deg", scene.plan.tolerance_rad, 0, 90);
  plan.done();
  Section reference = section("reference");
  scene.reference =
      scene.has_previous && !root.contains("ink") ? Reference::PreviousLens : Reference::Ink;
  reference.choice<Reference>("kind", scene.reference,
                              {{"ink", Reference::Ink},
                               {"photo", Reference::Photo},
                               {"previous-lens", Reference::PreviousLens},
                               {"none", Reference::None}});
  reference.flag("previous_axis_known", scene.previous_axis_known);
  reference.flag("photo_dilated", scene.photo_dilated);
  reference.angle("photo_tilt_deg", scene.photo_tilt_rad, -30, 30);
  reference.done();
  const auto each = [&](const char* name, const std::function<void(Section)>& use) {
    const toml::node* node = root.get(name);
    if (node == nullptr) return;
    const toml::array* array = node->as_array();
    if (array == nullptr)
      throw UserError(file, fmt::format("line {}, {}", node->source().begin.line, name),
                      "is not a list of tables", fmt::format("write [[{}]]", name));
    for (const toml::node& item : *array) use(Section(file, name, item.as_table()));
  };
  each("step", [&](Section one) { scene.steps.push_back(read_step(std::move(one), scene)); });
  each("event", [&](Section one) { scene.events.push_back(read_event(std::move(one), scene)); });
  each("visit", [&](Section one) { scene.visits.push_back(read_visit(std::move(one), scene)); });
  return scene;
}

}  // namespace

namespace {

double planned_goal(const Scene& scene) {
  return scene.plan.relative ? scene.previous_axis_rad + scene.plan.axis_rad : scene.plan.axis_rad;
}

}  // namespace

void complete(Scene& scene) {
  Rng rng(key_of(scene.seed, 0x7363656e65));
  scene.camera.width &= ~1;
  scene.camera.height &= ~1;
  if (scene.camera.interlaced) scene.camera.height &= ~3;
  Ink& ink = scene.ink;
  if (ink.errors_rad.size() != ink.meridians_rad.size()) {
    ink.errors_rad.clear();
    for (std::size_t i = 0; i < ink.meridians_rad.size(); ++i)
      ink.errors_rad.push_back(ink.error_sd_rad * rng.normal());
  }
  // The marks' own mean is what meridian 0 means.
  double mean = 0.0;
  for (const double e : ink.errors_rad) mean += e / static_cast<double>(ink.errors_rad.size());
  for (double& e : ink.errors_rad) e -= mean;
  if (!scene.has_lens) return;
  const double goal = planned_goal(scene);
  if (scene.steps.empty()) {
    const double length = scene.seconds;
    double at = 0.08 * length;
    if (scene.has_previous) {
      scene.steps.push_back({Act::Remove, 0.25 * length, 0.15 * length, 0.0, Tool::Forceps});
      at = 0.45 * length;
    }
    const double before = goal - rad_from_deg(rng.uniform(20.0, 55.0));
    const double left = length - at;
    scene.steps.push_back({Act::Insert, at, 0.2 * left, before, Tool::Injector});
    scene.steps.push_back({Act::Turn, at + 0.36 * left, 0.3 * left,
                           goal + rad_from_deg(rng.uniform(-2, 2)), Tool::Hook});
    scene.steps.push_back({Act::Settle, at + 0.72 * left, 0.06 * left,
                           scene.steps.back().axis_rad + rad_from_deg(rng.uniform(-1.5, 1.5)),
                           Tool::None});
  }
}

Scene read_scene(const std::filesystem::path& file) {
  try {
    const toml::table root = toml::parse_file(file.string());
    Scene scene = from_table(file.string(), root, file.stem().string());
    complete(scene);
    return scene;
  } catch (const toml::parse_error& error) {
    const auto at = error.source().begin;
    if (at.line == 0)
      throw UserError(file.string(), "", "cannot be read", "give a scene file that exists");
    throw UserError(file.string(), fmt::format("line {}, column {}", at.line, at.column),
                    std::string(error.description()), "mend the TOML there");
  }
}

}  // namespace rhumb::render
