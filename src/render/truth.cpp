#include "render/truth.h"

#include <fmt/core.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "files/partial_file.h"

namespace rhumb::render {
namespace {

using angle::deg_from_rad;
using Json = nlohmann::ordered_json;

double to_rod(const ToolOutline& rod, double x, double y) {
  double nearest = 1e9;
  for (std::size_t i = 0; i + 1 < rod.points.size(); ++i) {
    const double dx = rod.points[i + 1].x - rod.points[i].x;
    const double dy = rod.points[i + 1].y - rod.points[i].y;
    const double length2 = std::max(1e-9, dx * dx + dy * dy);
    const double t =
        std::clamp(((x - rod.points[i].x) * dx + (y - rod.points[i].y) * dy) / length2, 0.0, 1.0);
    const double half = rod.half_px[i] + t * (rod.half_px[i + 1] - rod.half_px[i]);
    nearest = std::min(
        nearest, std::hypot(x - rod.points[i].x - t * dx, y - rod.points[i].y - t * dy) - half);
  }
  return nearest;
}

struct Sample {
  double u, v;
};

std::vector<Sample> samples_of(const Lens& lens) {
  std::vector<Sample> samples;
  if (lens.marks == Marks::Dots)
    for (int k = 0; k < lens.per_end; ++k)
      for (const auto& [a, b] :
           {std::pair{0.0, 0.0}, {0.3, 0.0}, {-0.3, 0.0}, {0.0, 0.3}, {0.0, -0.3}})
        samples.push_back(
            {lens.mark_radius_mm - k * lens.dot_gap_mm + a * lens.dot_mm, b * lens.dot_mm});
  if (lens.marks == Marks::Lines)
    for (int k = 0; k < 9; ++k)
      samples.push_back({lens.mark_radius_mm - lens.line_mm * (k + 0.5) / 9.0, 0.0});
  return samples;
}

// How much a mark stands out against grain once blur has spread it, 0..1, by the share of its
// contrast that coding has left.
class Visibility {
 public:
  Visibility(const Stage& stage, const Instant& now, const Lens& lens, double time_s);
  double with(double left) const {
    return std::clamp((left * contrast_ / grain_ - 0.6) / 1.6, 0.0, 1.0);
  }

 private:
  double contrast_ = 0.0;
  double grain_ = 1.0;
};

Visibility::Visibility(const Stage& stage, const Instant& now, const Lens& lens, double time_s) {
  const Scene& scene = stage.scene();
  const double scale = now.view.px_per_mm();
  const double wide = (lens.marks == Marks::Dots ? lens.dot_mm : lens.line_width_mm) * scale;
  const double half = 0.5 * scene.camera.shutter / scene.camera.fps;
  const Instant a = stage.at(time_s - half);
  const Instant b = stage.at(time_s + half);
  const double moved = (a.view.project({2.7, 0, 0}) - b.view.project({2.7, 0, 0})).norm() +
                       2.7 * scale * std::abs(b.lens.axis_rad - a.lens.axis_rad);
  const double spread =
      std::sqrt(std::pow(scene.camera.psf_px, 2) +
                std::pow(stage.history().defocus_mm(time_s) * scale, 2) + moved * moved / 12.0);
  const double kept = lens.marks == Marks::Dots
                          ? wide * wide / (wide * wide + 8.0 * spread * spread)
                          : wide / std::sqrt(wide * wide + 8.0 * spread * spread);
  const double light = stage.history().light(time_s);
  const double reflex = light * scene.reflex.brightness * 0.45;
  const double haze = light * (scene.reflex.haze + 0.01);
  const double before = std::pow(reflex + haze, 1.0 / 2.4);
  const double marked =
      std::pow(reflex * (1.0 - lens.contrast) + haze + light * lens.grey, 1.0 / 2.4);
  contrast_ = std::abs(before - marked) * kept;
  grain_ = 0.0144 + 1.5 * scene.camera.noise;  // of a picture that is coded well
}

double shown(const Stage& stage, const Instant& now, const Lens& lens, double end,
             const std::vector<ToolOutline>& rods, const std::vector<Disc>& discs) {
  const Scene& scene = stage.scene();
  const LensAxes axes = lens_axes(now.lens, lens, now.view.surfaces());
  const std::vector<Sample> samples = samples_of(lens);
  int seen = 0;
  for (const Sample& s : samples) {
    const Eigen::Vector3d at = axes.centre + end * s.u * axes.along + s.v * axes.across;
    const Eigen::Vector2d px = now.view.project_inside(at);
    if (px.x() < 0 || px.y() < 0 || px.x() > scene.camera.width - 1 ||
        px.y() > scene.camera.height - 1)
      continue;
    const Eigen::Vector2d on_scene = now.view.scene_from_picture(px);
    const double edge = 0.5 * scene.microscope.field_edge_mm;
    if (edge > 0.0 && on_scene.norm() > edge) continue;
    if (stage.surround_cover(on_scene.x(), on_scene.y()) > 0.5) continue;
    const Ray ray = now.view.ray_from(on_scene);
    const double to_iris = (now.view.surfaces().iris_z - ray.origin.z()) / ray.direction.z();
    const Eigen::Vector3d iris = ray.origin + to_iris * ray.direction;
    if (stage.iris_cover(now, iris.x(), iris.y()) > 0.5) continue;
    bool covered = false;
    for (const ToolOutline& rod : rods) covered = covered || to_rod(rod, px.x(), px.y()) < 0.5;
    for (const Disc& d : discs)
      covered = covered || std::hypot(px.x() - d.x_px, px.y() - d.y_px) < d.radius_px;
    if (!covered) ++seen;
  }
  return samples.empty() ? 0.0 : static_cast<double>(seen) / static_cast<double>(samples.size());
}

}  // namespace

double relative_to(const Scene& scene) {
  const bool relative = scene.reference == Reference::PreviousLens && !scene.previous_axis_known;
  return relative ? scene.previous_axis_rad : 0.0;
}

double planned_axis(const Scene& scene) {
  if (scene.plan.relative)
    return angle::wrap_axis(scene.previous_axis_rad + scene.plan.axis_rad - relative_to(scene));
  return angle::wrap_axis(scene.plan.axis_rad - relative_to(scene));
}

TruthRow truth_at(const Stage& stage, std::int64_t frame, double time_s, const MarksLeft& left) {
  const Scene& scene = stage.scene();
  const Instant now = stage.at(time_s);
  TruthRow row;
  row.frame = frame;
  row.time_s = time_s;
  row.lens_in_eye = now.lens.in_eye;
  row.previous = now.lens.previous;
  const LimbusInPicture limbus = limbus_in(now.view);
  row.limbus_px = limbus.centre_px;
  row.limbus_radius_px = limbus.radius_px;
  row.eye_rotation_rad = eye_rotation(now.pose);
  row.moving = now.lens.moving;
  const Lens& lens = now.lens.previous ? scene.previous : scene.lens;
  if (!now.lens.in_eye || lens.marks == Marks::None) return row;
  row.axis_rad = angle::wrap_axis(now.lens.axis_rad - relative_to(scene));
  if (now.lens.unfolded < 0.9) return row;
  const Visibility visibility(stage, now, lens, time_s);
  const auto rods = tool_outlines(now, scene);
  const auto discs = stage.glints(now);
  row.readable_a = visibility.with(left.a) * shown(stage, now, lens, 1.0, rods, discs);
  row.readable_b = visibility.with(left.b) * shown(stage, now, lens, -1.0, rods, discs);
  return row;
}

namespace {

const char* lens_name(const TruthRow& row) {
  if (!row.lens_in_eye) return "none";
  return row.previous ? "previous" : "new";
}

Json episodes_of(const std::vector<TruthRow>& rows) {
  Json episodes = Json::array();
  for (std::size_t i = 0; i < rows.size();) {
    std::size_t j = i;
    while (j < rows.size() && std::string(lens_name(rows[j])) == lens_name(rows[i])) ++j;
    if (rows[i].lens_in_eye) {
      Json still = Json::array();
      for (std::size_t a = i; a < j;) {
        std::size_t b = a;
        while (b < j && !rows[b].moving && rows[b].axis_rad) ++b;
        if (b > a && rows[b - 1].time_s - rows[a].time_s >= 0.3) {
          double readable = 0.0;
          for (std::size_t k = a; k < b; ++k) readable += rows[k].readable();
          still.push_back({{"start_s", rows[a].time_s},
                           {"end_s", rows[b - 1].time_s},
                           {"axis_deg", deg_from_rad(*rows[b - 1].axis_rad)},
                           {"readable", readable / static_cast<double>(b - a)}});
        }
        a = std::max(b, a + 1);
      }
      episodes.push_back({{"lens", lens_name(rows[i])},
                          {"start_s", rows[i].time_s},
                          {"end_s", rows[j - 1].time_s},
                          {"still", still}});
    }
    i = j;
  }
  return episodes;
}

const char* reference_name(Reference reference) {
  switch (reference) {
    case Reference::Ink:
      return "ink";
    case Reference::Photo:
      return "photo";
    case Reference::PreviousLens:
      return "previous-lens";
    case Reference::None:
      break;
  }
  return "none";
}

}  // namespace

void write_truth(const std::filesystem::path& folder, const Scene& scene,
                 const std::vector<TruthRow>& rows) {
  std::string csv =
      "frame,time_s,lens,limbus_x_px,limbus_y_px,limbus_radius_px,eye_rotation_deg,axis_deg,"
      "readable,"
      "moving,readable_end_a,readable_end_b\n";
  for (const TruthRow& r : rows)
    csv += fmt::format("{},{:.6f},{},{:.3f},{:.3f},{:.3f},{:.4f},{},{:.3f},{},{:.3f},{:.3f}\n",
                       r.frame, r.time_s, lens_name(r), r.limbus_px.x(), r.limbus_px.y(),
                       r.limbus_radius_px, deg_from_rad(r.eye_rotation_rad),
                       r.axis_rad ? fmt::format("{:.4f}", deg_from_rad(*r.axis_rad)) : "",
                       r.readable(), r.moving ? 1 : 0, r.readable_a, r.readable_b);
  files::write_whole(folder / "truth.csv", csv);

  const TruthRow* last = nullptr;
  if (!rows.empty() && rows.back().axis_rad && !rows.back().previous) last = &rows.back();
  double readable = 0.0;
  double count = 0.0;
  bool measurable = false;
  for (const TruthRow& r : rows) {
    if (last == nullptr || r.previous || !r.axis_rad || r.moving) continue;
    if (r.time_s < rows.back().time_s - 1.0) continue;
    readable += r.readable();
    count += 1.0;
    measurable = measurable || r.readable() >= 0.3;
  }
  const bool final_given = last != nullptr && !scene.negative;
  Json j;
  j["schema_version"] = 1;
  j["name"] = scene.name;
  j["scenario"] = scene.negative ? "negative" : scene.has_previous ? "exchange" : "routine";
  j["shows"] = scene.shows;
  j["seed"] = scene.seed;
  j["negative"] = scene.negative;
  j["negative_kind"] = scene.negative ? Json(scene.negative_kind) : Json();
  j["score_lens_state"] = true;
  j["reference"] = reference_name(scene.reference);
  j["axis_known"] = scene.reference != Reference::None && relative_to(scene) == 0.0;
  j["final_axis_deg"] = final_given ? Json(deg_from_rad(*last->axis_rad)) : Json();
  j["final_alternatives_deg"] = Json::array();
  j["final_measurable"] = measurable && final_given;
  j["plan_axis_deg"] = deg_from_rad(planned_axis(scene));
  j["final_deviation_deg"] =
      final_given ? Json(deg_from_rad(angle::wrap_deviation(*last->axis_rad - planned_axis(scene))))
                  : Json();
  j["relative_to_previous_deg"] = deg_from_rad(relative_to(scene));
  j["episodes"] = episodes_of(rows);
  Json meridians = Json::array();
  Json errors = Json::array();
  if (scene.reference == Reference::Ink) {
    for (const double m : scene.ink.meridians_rad) meridians.push_back(deg_from_rad(m));
    for (const double e : scene.ink.errors_rad) errors.push_back(deg_from_rad(e));
  }
  j["ink"] = {{"meridians_deg", meridians},
              {"individual_error_deg", errors},
              {"target_error_deg",
               scene.ink.target ? Json(deg_from_rad(scene.ink.target_error_rad)) : Json()}};
  j["mark_contrast"] = scene.lens.contrast;
  j["final_readable"] = count > 0.0 ? readable / count : 0.0;
  j["width"] = scene.camera.width;
  j["height"] = scene.camera.height;
  j["fps"] = scene.camera.fps;
  j["crf"] = scene.camera.crf;
  j["interlaced"] = scene.camera.interlaced;
  j["frames"] = rows.size();
  files::write_whole(folder / "truth.json", j.dump(1) + "\n");
}

}  // namespace rhumb::render
