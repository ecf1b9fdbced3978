#include "followup/operation.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "analyze/analyze.h"
#include "angle/angle.h"
#include "casefile/read.h"
#include "eye/orientation.h"
#include "files/user_error.h"
#include "video/colour.h"
#include "video/reader.h"
#include "video/sample.h"

namespace rhumb::followup {
namespace {

constexpr double normal_95 = 1.959964;
constexpr double reading_floor_rad =
    0.0017;  // 0.1 degrees: what no reading of marks is better than

// Direction of the marks in the upright picture: through the frame's own map, so that its tilt is
// in it, as it is in a photograph.
double direction_in_upright(const outcome::CaseOutcome& outcome, const outcome::TimelineRow& row) {
  const double in_atlas = row.axis->value_rad - outcome.atlas_zero_meridian_rad;
  const Eigen::Vector2d in_picture =
      row.pose.picture_from_atlas * Eigen::Vector2d(std::cos(in_atlas), std::sin(in_atlas));
  const Eigen::Vector2d upright =
      eye::picture_from_upright(outcome.stated.video.superior, outcome.stated.video.mirrored)
          .inverse() *
      in_picture;
  return std::atan2(upright.y(), upright.x());
}

double reading_se(const outcome::CaseOutcome& outcome, const outcome::TimelineRow& row) {
  const double whole = (row.axis->high_rad - row.axis->low_rad) / (2 * normal_95);
  const double reading = whole * whole - outcome.atlas_zero_se_rad * outcome.atlas_zero_se_rad;
  return std::max(reading_floor_rad, std::sqrt(std::max(0.0, reading)));
}

OperationFrame frame_of(const outcome::CaseOutcome& outcome, const outcome::TimelineRow& row,
                        const cv::Mat& bgr) {
  const auto& stated = outcome.stated.video;
  OperationFrame out;
  out.bgr = upright_picture(bgr, stated.superior, stated.mirrored);
  out.time_s = row.time_s;
  out.limbus.centre_px = upright_point(row.limbus_px, bgr.size(), stated.superior, stated.mirrored);
  out.limbus.semi_major_px = out.limbus.semi_minor_px = row.limbus_radius_px;
  out.direction_rad = direction_in_upright(outcome, row);
  out.se_rad = reading_se(outcome, row);
  out.axis_rad = row.axis->value_rad;
  return out;
}

}  // namespace

cv::Mat upright_picture(const cv::Mat& bgr, casefile::Superior superior, bool mirrored) {
  cv::Mat out = bgr;
  if (mirrored) cv::flip(out, out, 1);
  // `superior` describes the picture as it is; flipping swaps left and right.
  if (mirrored && superior == casefile::Superior::Left) {
    superior = casefile::Superior::Right;
  } else if (mirrored && superior == casefile::Superior::Right) {
    superior = casefile::Superior::Left;
  }
  switch (superior) {
    case casefile::Superior::Top:
      break;
    case casefile::Superior::Bottom:
      cv::rotate(out, out, cv::ROTATE_180);
      break;
    case casefile::Superior::Left:
      cv::rotate(out, out, cv::ROTATE_90_CLOCKWISE);
      break;
    case casefile::Superior::Right:
      cv::rotate(out, out, cv::ROTATE_90_COUNTERCLOCKWISE);
      break;
  }
  return out;
}

Eigen::Vector2d upright_point(const Eigen::Vector2d& picture_px, cv::Size recorded,
                              casefile::Superior superior, bool mirrored) {
  const Eigen::Vector2d middle(0.5 * (recorded.width - 1), 0.5 * (recorded.height - 1));
  const Eigen::Vector2d up_right =
      eye::picture_from_upright(superior, mirrored).inverse() * (picture_px - middle);
  const bool turned = superior == casefile::Superior::Left || superior == casefile::Superior::Right;
  const Eigen::Vector2d new_middle = turned ? Eigen::Vector2d(middle.y(), middle.x()) : middle;
  return {new_middle.x() + up_right.x(), new_middle.y() - up_right.y()};
}

std::vector<std::size_t> clearest_rows(const outcome::CaseOutcome& outcome,
                                       const OperationOptions& options) {
  std::vector<std::size_t> out;
  if (!outcome.final) return out;
  const double start = outcome.final->start_s, length = outcome.final->end_s - start;
  for (int part = 0; part < options.most_frames; ++part) {
    const double from = start + length * part / options.most_frames;
    const double to = start + length * (part + 1) / options.most_frames;
    std::optional<std::size_t> best;
    double best_worth = 0;
    for (std::size_t i = 0; i < outcome.rows.size(); ++i) {
      const outcome::TimelineRow& row = outcome.rows[i];
      if (row.time_s < from || row.time_s > to || !row.axis || !row.eye_found || row.moving ||
          row.damaged || row.pose.ring_share < options.least_ring_share)
        continue;
      const double worth = row.pose.ring_share * (0.1 + row.confidence);
      if (worth <= best_worth || (!out.empty() && out.back() == i)) continue;
      best = i;
      best_worth = worth;
    }
    if (best) out.push_back(*best);
  }
  return out;
}

Operation read_operation(const std::filesystem::path& case_file, casefile::Eye eye,
                         const OperationOptions& options) {
  if (std::filesystem::is_directory(case_file))
    throw UserError(case_file.string(), "", "is a folder, and the recording is needed",
                    "name the operation's case file as series.operation");
  const casefile::Case stated = casefile::read_case(case_file);
  if (stated.eye != eye)
    throw UserError(case_file.string(), "case.eye",
                    "the operation is of the other eye than the series",
                    "name the right case file, or correct eye");
  analyze::AnalyzeOptions analysis;
  analysis.threads = options.threads;
  const outcome::CaseOutcome outcome = analyze::analyze(
      stated, analysis,
      [&](double share, double) {
        if (options.progress) options.progress(share);
      },
      options.cancel);
  Operation out;
  out.date = stated.date;
  out.meridians_known = !outcome.axes_are_relative;
  out.zero_se_rad = outcome.atlas_zero_se_rad;
  const std::vector<std::size_t> rows = clearest_rows(outcome, options);
  if (rows.empty()) {
    out.remark = outcome.final ? "no frame of the operation's end shows enough of the limbus"
                               : "the operation gave no final axis: " + outcome.verdict;
    return out;
  }
  std::vector<double> times;
  for (const std::size_t i : rows) times.push_back(outcome.rows[i].time_s);
  const auto frames = video::read_at(stated.video.files, times, options.cancel);
  video::ColourMaker colours(video::probe(stated.video.files));
  for (std::size_t k = 0; k < rows.size(); ++k)
    if (frames[k])
      out.frames.push_back(frame_of(outcome, outcome.rows[rows[k]], colours.bgr(*frames[k])));
  out.remark =
      fmt::format("visit zero is the operation, {} of its last clear frames", out.frames.size());
  return out;
}

}  // namespace rhumb::followup
