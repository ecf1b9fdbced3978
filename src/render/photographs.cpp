#include "render/photographs.h"

#include <fmt/core.h>

#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "angle/angle.h"
#include "files/partial_file.h"
#include "files/user_error.h"
#include "render/camera.h"
#include "render/truth.h"

namespace rhumb::render {
namespace {

using angle::deg_from_rad;

// The same eye under the slit lamp: its textures keep the scene's seed, everything else is set
// anew.
Scene at_slit_lamp(const Scene& scene, Light light, double pupil_mm, double field_mm) {
  Scene s = scene;
  s.surround = Surround::Lids;
  s.reference = Reference::None;
  s.ink.target = false;
  s.clutter = Clutter{};
  s.clutter.bubbles = 0;
  s.clutter.blood = 0.0;
  s.clutter.viscoelastic_mm = 0.0;
  s.clutter.incisions = false;
  s.clutter.tear_shine = 0.15;
  s.motion = Motion{};
  s.motion.torsion_rad = s.motion.torsion_wander_rad = s.motion.tilt_wander_rad = 0.0;
  s.motion.torsion_jumps_per_s = s.motion.shift_wander_mm = s.motion.pulse_mm = 0.0;
  s.microscope = Microscope{};
  s.microscope.superior = Superior::Top;
  s.microscope.light = light;
  s.microscope.field_mm = field_mm;
  s.microscope.gain_wander = 0.0;
  s.eye.pupil_mm = pupil_mm;
  s.camera.width = 1920;
  s.camera.height = 1280;
  s.camera.interlaced = false;
  s.camera.shutter = 0.0;
  s.camera.text.clear();
  s.steps.clear();
  s.seconds = 1.0;
  s.microscope.defocus_mm = 0.01;
  if (light == Light::Diffuse || light == Light::Slit) {
    s.reflex.brightness = 0.07;
    s.reflex.colour = {0.35, 0.20, 0.12};
    s.reflex.flat = 0.9;
    s.lens.grey = 0.16;
  } else {
    s.reflex.brightness = 0.75;
    s.reflex.flat = 0.75;
  }
  return s;
}

}  // namespace

void write_image(const std::filesystem::path& file, const cv::Mat& bgr) {
  std::vector<unsigned char> bytes;
  if (!cv::imencode(file.extension().string(), bgr, bytes, {cv::IMWRITE_JPEG_QUALITY, 92}))
    throw UserError(file.string(), "", "cannot be coded", "name it .png or .jpg");
  files::write_whole(file, {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
}

Scene scene_of_visit(const Scene& scene, std::size_t visit) {
  const Visit& v = scene.visits[visit];
  Scene s = at_slit_lamp(scene, v.light, v.pupil_mm, v.field_mm);
  s.has_previous = false;
  s.motion.torsion_rad = v.head_tilt_rad;
  s.motion.tilt_rad = v.tilt_rad;
  s.eye.redness = v.redness;
  s.eye.vessels_changed = visit == 0 ? 0.0 : v.vessels_changed;
  s.eye.vessels_visit = static_cast<int>(visit);
  s.reflex.capsule_haze = v.capsule_haze;
  s.steps = {{Act::Insert, -100.0, 1.0, v.axis_rad, Tool::None}};
  return s;
}

void write_upright(const Scene& scene, const std::filesystem::path& file, int threads) {
  Scene s = at_slit_lamp(scene, Light::Diffuse,
                         scene.photo_dilated ? scene.eye.pupil_mm * 0.98 : 3.4, 24.0);
  s.has_lens = false;
  s.has_previous = false;
  s.motion.torsion_rad = scene.photo_tilt_rad;
  const Stage stage(s);
  Camera camera(stage, threads);
  write_image(file, bgr_of(camera.take(0.0, 7000)));
}

void produce_series(const Scene& scene, const std::filesystem::path& folder,
                    const ProduceOptions& options) {
  std::string series = "# An invented series: a rendered eye, no patient.\n";
  series += fmt::format("[series]\nid  = \"{}\"\neye = \"{}\"\n", one_line(scene.name),
                        scene.eye.left ? "left" : "right");
  series += fmt::format("\n[lens]\nmarks         = \"{}\"\nmarks_per_end = {}\n",
                        scene.lens.marks == Marks::Lines ? "lines" : "dots", scene.lens.per_end);
  series += fmt::format("\n[plan]\naxis_deg = {:.2f}\n", deg_from_rad(planned_axis(scene)));
  std::string csv =
      "visit,date,axis_deg,head_tilt_deg,drift_deg,step_deg,limbus_x_px,limbus_y_px,limbus_radius_"
      "px,readable,"
      "illumination\n";
  nlohmann::ordered_json json = {
      {"schema_version", 1},    {"name", scene.name},
      {"scenario", "followup"}, {"shows", scene.shows},
      {"seed", scene.seed},     {"plan_axis_deg", deg_from_rad(planned_axis(scene))}};
  json["visits"] = nlohmann::ordered_json::array();
  for (std::size_t i = 0; i < scene.visits.size(); ++i) {
    if (options.cancel.stop_requested()) throw Interrupted();
    const Visit& v = scene.visits[i];
    const Scene s = scene_of_visit(scene, i);
    const Stage stage(s);
    Camera camera(stage, options.threads);
    const std::string name = fmt::format("visit-{}.png", i + 1);
    write_image(folder / name, bgr_of(camera.take(0.0, 8000 + static_cast<std::int64_t>(i))));
    const TruthRow row = truth_at(stage, 0, 0.0);
    series += fmt::format(
        "\n[[visit]]\nlabel    = \"{}\"\ndate     = {}\nimage    = \"{}\"\nsuperior = \"top\"\n",
        one_line(v.label), v.date, name);
    const double drift = angle::wrap_deviation(v.axis_rad - scene.visits[0].axis_rad);
    const double step =
        i == 0 ? 0.0 : angle::wrap_deviation(v.axis_rad - scene.visits[i - 1].axis_rad);
    const double tilt = row.eye_rotation_rad;
    const char* light = v.light == Light::Retro  ? "retro"
                        : v.light == Light::Slit ? "slit"
                                                 : "diffuse";
    const double axis = angle::wrap_axis(v.axis_rad);
    csv += fmt::format("{},{},{:.4f},{:.4f},{:.4f},{:.4f},{:.3f},{:.3f},{:.3f},{:.3f},{}\n",
                       one_line(v.label), v.date, deg_from_rad(axis), deg_from_rad(tilt),
                       deg_from_rad(drift), deg_from_rad(step), row.limbus_px.x(),
                       row.limbus_px.y(), row.limbus_radius_px, row.readable(), light);
    json["visits"].push_back({{"visit", v.label},
                              {"date", v.date},
                              {"axis", deg_from_rad(axis)},
                              {"tilt", deg_from_rad(tilt)},
                              {"x", row.limbus_px.x()},
                              {"y", row.limbus_px.y()},
                              {"r", row.limbus_radius_px},
                              {"readable", row.readable()},
                              {"ill", light}});
    if (options.progress)
      options.progress(static_cast<std::int64_t>(i) + 1,
                       static_cast<std::int64_t>(scene.visits.size()));
  }
  files::write_whole(folder / "series.toml", series);
  files::write_whole(folder / "truth.csv", csv);
  files::write_whole(folder / "truth.json", json.dump(1) + "\n");
}

}  // namespace rhumb::render
