#include "validate/worst.h"

#include <fmt/core.h>

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "render/camera.h"
#include "render/truth.h"

namespace rhumb::validate {
namespace {

// Two strokes along an axis outside the limbus.
void stroke(cv::Mat& picture, const render::View& view, double axis_rad, double from, double to,
            const cv::Scalar& colour) {
  const double limbus = view.surfaces().limbus_mean_mm;
  const auto at = [&](double radius) {
    const Eigen::Vector2d p =
        view.project({radius * std::cos(axis_rad), radius * std::sin(axis_rad), 0.0});
    return cv::Point(static_cast<int>(std::lround(p.x())), static_cast<int>(std::lround(p.y())));
  };
  const int wide = std::max(2, picture.cols / 400);
  for (const double end : {1.0, -1.0}) {
    cv::line(picture, at(end * from * limbus), at(end * to * limbus), {20, 20, 20}, wide + 2,
             cv::LINE_AA);
    cv::line(picture, at(end * from * limbus), at(end * to * limbus), colour, wide, cv::LINE_AA);
  }
}

}  // namespace

cv::Mat worst_picture(const Clip& clip, const ClipScore& score) {
  const render::Stage stage(clip.scene);
  render::Camera camera(stage, 1);
  const int frame = score.worst_frame >= 0 ? score.worst_frame : score.frames - 1;
  const double time_s = frame / clip.scene.camera.fps;
  cv::Mat picture = render::bgr_of(camera.take(time_s, frame));
  const render::Instant now = stage.at(time_s);
  const render::TruthRow truth = render::truth_at(stage, frame, time_s);
  const double base = render::relative_to(clip.scene);
  if (truth.axis_rad)
    stroke(picture, now.view, *truth.axis_rad + base, 1.08, 1.28, {245, 245, 245});
  if (score.worst_axis_deg)
    stroke(picture, now.view, angle::rad_from_deg(*score.worst_axis_deg) + base, 1.32, 1.5,
           {40, 170, 245});
  return picture;
}

std::string worst_reason(const ClipScore& s) {
  std::string t;
  if (s.final_false && !s.final_error_deg)
    t += "A final axis although there is none to read. ";
  else if (s.final_error_deg)
    t += fmt::format("Final axis {:.2f} degrees off, {} its 95 % interval. ", *s.final_error_deg,
                     s.final_covered ? "inside" : "outside");
  else if (s.final_measurable)
    t += "No final axis although one could be read. ";
  t += fmt::format("An axis in {} of {} frames that ought to be read", s.given, s.readable);
  if (s.why_not_frames > 0)
    t += fmt::format("; of the others the program says most often: {} ({} frames)",
                     s.why_not.empty() ? "nothing" : "'" + s.why_not + "'", s.why_not_frames);
  t += ". ";
  if (s.worst_axis_deg)
    t += fmt::format("The frame shown (number {}) is {:.2f} degrees off. ", s.worst_frame,
                     std::abs(s.worst_error_deg));
  else if (s.worst_frame >= 0)
    t += fmt::format("The frame shown (number {}) got no axis. ", s.worst_frame);
  std::string hard;
  for (const Condition& c : s.conditions)
    if (!c.usual) hard += fmt::format("{}{} {}", hard.empty() ? "" : ", ", c.group, c.label);
  if (!hard.empty()) t += "Unusual about it: " + hard + ".";
  return t;
}

}  // namespace rhumb::validate
