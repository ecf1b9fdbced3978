#include "render/produce.h"

#include <fmt/core.h>

#include <cmath>
#include <future>
#include <opencv2/imgcodecs.hpp>

#include "angle/angle.h"
#include "files/partial_file.h"
#include "files/user_error.h"
#include "render/camera.h"
#include "render/coding_loss.h"
#include "render/photographs.h"
#include "render/truth.h"
#include "video/writer.h"

namespace rhumb::render {
namespace {

using angle::deg_from_rad;

const char* superior_name(Superior superior) {
  switch (superior) {
    case Superior::Top:
      return "top";
    case Superior::Bottom:
      return "bottom";
    case Superior::Left:
      return "left";
    case Superior::Right:
      return "right";
  }
  return "top";
}

std::string number(double v) {
  std::string text = fmt::format("{:.6g}", v);
  if (text.find_first_of(".e") == std::string::npos) text += ".0";
  return text;
}

std::string lens_text(const char* table, const Lens& lens) {
  // What a lens without marks would have been: the surgeon believed in dots.
  const bool lines = lens.marks == Marks::Lines;
  return fmt::format(
      "\n[{}]\nmarks         = \"{}\"\nmarks_per_end = {}\noptic_mm      = {}\ncylinder_D    = "
      "{}\n",
      table, lines ? "lines" : "dots", lens.per_end, number(lens.optic_mm),
      number(lens.cylinder_D));
}

}  // namespace

std::string case_text(const Scene& scene) {
  std::string t = "# An invented case: a rendered eye, no patient.\n";
  if (!scene.shows.empty()) t += "# " + one_line(scene.shows) + "\n";
  t += fmt::format("[case]\nid       = \"{}\"\neye      = \"{}\"\n", one_line(scene.name),
                   scene.eye.left ? "left" : "right");
  t += fmt::format("\n[video]\nfile     = \"video.mp4\"\nsuperior = \"{}\"\nmirrored = {}\n",
                   superior_name(scene.microscope.superior), scene.microscope.mirrored);
  t += "\n[plan]\n";
  if (scene.plan.relative)
    t += fmt::format("from_previous_lens_deg = {}\n", number(deg_from_rad(scene.plan.axis_rad)));
  else
    t += fmt::format("axis_deg      = {}\n",
                     number(deg_from_rad(angle::wrap_axis(scene.plan.axis_rad))));
  t += fmt::format("tolerance_deg = {}\n", number(deg_from_rad(scene.plan.tolerance_rad)));
  if (scene.ink.target) t += "target_ink    = true\n";
  t += "\n[reference]\n";
  switch (scene.reference) {
    case Reference::Ink: {
      t += "kind          = \"ink\"\nmeridians_deg = [";
      for (std::size_t i = 0; i < scene.ink.meridians_rad.size(); ++i)
        t += (i > 0 ? ", " : "") + number(deg_from_rad(scene.ink.meridians_rad[i]));
      t += "]\n";
      break;
    }
    case Reference::Photo:
      t += fmt::format(
          "kind           = \"photo\"\nfile           = \"upright.png\"\nhorizontal_deg = {}\n",
          number(deg_from_rad(angle::wrap_meridian(-scene.photo_tilt_rad))));
      break;
    case Reference::PreviousLens:
      t += "kind     = \"previous-lens\"\n";
      if (scene.previous_axis_known)
        t += fmt::format("axis_deg = {}\n", number(deg_from_rad(scene.previous_axis_rad)));
      break;
    case Reference::None:
      t += "kind = \"none\"\n";
      break;
  }
  t += lens_text("lens", scene.lens);
  if (scene.has_previous) t += lens_text("previous_lens", scene.previous);
  t += fmt::format("\n[anatomy]\nwhite_to_white_mm = {}\n",
                   number(std::round(10 * scene.eye.white_to_white_mm) / 10));
  return t;
}

std::vector<TruthRow> produce_recording(const Scene& scene, const std::filesystem::path& folder,
                                        const ProduceOptions& options) {
  files::PartialFile video(folder / "video.mp4");
  const Stage stage(scene);
  Camera camera(stage, options.threads);
  CodingLoss loss(stage, options.threads);
  video::WriterOptions writing;
  writing.width = scene.camera.width;
  writing.height = scene.camera.height;
  writing.rate_hz = scene.camera.fps;
  writing.crf = scene.camera.crf;
  writing.interlaced = scene.camera.interlaced;
  video::Writer writer(video.partial(), writing);
  auto frames = static_cast<std::int64_t>(std::llround(scene.seconds * scene.camera.fps));
  if (options.frames > 0) frames = std::min(frames, options.frames);
  std::vector<TruthRow> rows;
  std::future<void> coding;
  for (std::int64_t i = 0; i < frames; ++i) {
    if (options.cancel.stop_requested()) throw Interrupted();
    const double time_s = static_cast<double>(i) / scene.camera.fps;
    const Picture picture = camera.take(time_s, i);
    // The encoder works on one picture while the next is drawn.
    if (coding.valid()) coding.get();
    coding = std::async(std::launch::async, [&writer, picture, time_s] {
      writer.add(picture.luma, picture.cb, picture.cr, time_s);
    });
    loss.watch(picture, time_s, i);
    if (options.progress) options.progress(i + 1, frames);
  }
  if (coding.valid()) coding.get();
  writer.finish();
  const auto left = loss.read(video.partial(), frames);
  for (std::int64_t i = 0; i < frames; ++i)
    rows.push_back(truth_at(stage, i, static_cast<double>(i) / scene.camera.fps,
                            left[static_cast<std::size_t>(i)]));
  video.commit();
  if (scene.reference == Reference::Photo)
    write_upright(scene, folder / "upright.png", options.threads);
  files::write_whole(folder / "case.toml", case_text(scene));
  write_truth(folder, scene, rows);
  return rows;
}

void produce(const Scene& scene, const std::filesystem::path& folder,
             const ProduceOptions& options) {
  if (scene.visits.empty())
    produce_recording(scene, folder, options);
  else
    produce_series(scene, folder, options);
}

}  // namespace rhumb::render
