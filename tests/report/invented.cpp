#include "report/invented.h"

#include <unistd.h>

#include <cmath>
#include <fstream>
#include <random>
#include <sstream>

#include "angle/angle.h"
#include "eye/orientation.h"

namespace rhumb::report_test {
namespace {

using angle::rad_from_deg;

constexpr int frames = 300;
constexpr double rate_hz = 25.0;

outcome::Interval interval(double value_deg, double half_deg) {
  return {rad_from_deg(value_deg), rad_from_deg(value_deg - half_deg),
          rad_from_deg(value_deg + half_deg)};
}

// The eye drifts about and turns a little; `superior` is at the bottom of the picture.
eye::EyePose invented_pose(double time_s) {
  eye::EyePose pose;
  pose.found = true;
  const double turn = rad_from_deg(2.0 * std::sin(time_s));
  Eigen::Matrix2d rotation;
  rotation << std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn);
  pose.picture_from_atlas =
      150.0 * eye::picture_from_upright(casefile::Superior::Bottom, false) * rotation;
  pose.offset_px = {320.0 + 12.0 * std::sin(0.7 * time_s), 240.0 + 8.0 * std::cos(0.9 * time_s)};
  pose.rotation_rad = turn;
  pose.ring_share = 0.8;
  return pose;
}

double axis_at(double time_s) {
  if (time_s < 3.0) return 60.0;
  if (time_s < 8.0) return 60.0 + 54.1 * (time_s - 5.0) / 3.0;
  return 114.1;
}

outcome::TimelineRow invented_row(int frame) {
  outcome::TimelineRow row;
  row.frame = frame;
  row.time_s = frame / rate_hz;
  row.pose = invented_pose(row.time_s);
  row.eye_found = frame < 100 || frame >= 120;
  row.pose.found = row.eye_found;
  row.limbus_px = row.pose.offset_px;
  row.limbus_radius_px = 150.0;
  const bool none = row.time_s >= 3.0 && row.time_s < 5.0;
  row.lens = none ? outcome::LensState::None
                  : (row.time_s < 3.0 ? outcome::LensState::Previous : outcome::LensState::New);
  if (!row.eye_found) {
    row.why_not = "the limbus is covered";
    row.lens = outcome::LensState::Unknown;
    return row;
  }
  row.eye_rotation_rad = row.pose.rotation_rad;
  row.moving = row.time_s >= 5.0 && row.time_s < 8.0;
  if (none) {
    row.why_not = "no lens lies in the eye";
    return row;
  }
  const double axis = axis_at(row.time_s);
  row.axis = interval(axis, row.moving ? 3.0 : 0.8);
  row.half_width_50_rad = rad_from_deg(0.3);
  row.confidence = row.moving ? 0.5 : 0.95;
  row.deviation_rad = angle::wrap_deviation(rad_from_deg(axis - 112.0));
  return row;
}

outcome::EvidenceFrame evidence(int frame, outcome::LensState lens, const char* caption) {
  outcome::EvidenceFrame still;
  still.frame = frame;
  still.time_s = frame / rate_hz;
  still.caption = caption;
  still.pose = invented_pose(still.time_s);
  still.axis_atlas_rad = rad_from_deg(axis_at(still.time_s) - 3.0);
  const Eigen::Vector2d along(std::cos(still.axis_atlas_rad), std::sin(still.axis_atlas_rad));
  for (const double radius : {-0.45, -0.40, -0.35, 0.35, 0.40, 0.45})
    still.marks_atlas.push_back(radius * along);
  still.lens = lens;
  return still;
}

void fill_stated(casefile::Case& stated) {
  stated.id = "X-001";
  stated.eye = casefile::Eye::Right;
  stated.operator_code = "f03";
  stated.date = "2026-05-14";
  stated.video.superior = casefile::Superior::Bottom;
  stated.plan.axis_rad = rad_from_deg(112.0);
  stated.plan.tolerance_rad = rad_from_deg(5.0);
  stated.references = {{casefile::ReferenceKind::Ink, {0.0, angle::pi}, {}, 0.0, {}}};
  stated.lens.cylinder_D = 2.25;
  stated.previous_lens = casefile::LensMarks{casefile::MarkKind::Lines, 1, {}, {}};
  stated.refraction.keratometry =
      optics::Keratometry{43.0, rad_from_deg(22.0), 44.75, 0.15, rad_from_deg(3.0)};
  stated.refraction.refraction = optics::Refraction{0.25, -0.5, rad_from_deg(20.0), 12.0, 0.15};
}

void fill_run(outcome::CaseOutcome& outcome) {
  outcome.video = {
      640, 480, 12.0, rate_hz, frames, 0, 0, 0, false, "h264", {"no notes, but this one"}};
  outcome.run = {"0.1.0",
                 "0123456789ab",
                 {{"libavcodec", "59.37.100"}, {"OpenCV", "4.6.0"}},
                 {{"threads", "0"}},
                 std::string(64, 'a'),
                 {std::string(64, 'b')},
                 {"an invented warning"}};
}

}  // namespace

outcome::CaseOutcome invented_outcome() {
  outcome::CaseOutcome outcome;
  fill_stated(outcome.stated);
  fill_run(outcome);
  for (int frame = 0; frame < frames; ++frame) outcome.rows.push_back(invented_row(frame));
  outcome.planned_axis_rad = rad_from_deg(112.0);
  outcome.atlas_zero_meridian_rad = rad_from_deg(3.0);
  outcome.atlas_zero_se_rad = rad_from_deg(0.3);
  outcome.limbus_in_atlas.semi_major_px = 1.03;
  outcome.limbus_in_atlas.semi_minor_px = 0.97;
  outcome.episodes = {
      {outcome::LensState::Previous, 0.0, 3.0, {{0.0, 3.0, interval(60.0, 0.6), 0.97, false}}},
      {outcome::LensState::New, 5.0, 12.0, {{8.0, 12.0, interval(114.1, 0.7), 0.95, false}}}};
  outcome.final =
      outcome::FinalAxis{interval(114.1, 0.7), interval(2.1, 0.9), 8.0, 12.0, 0.96, false};
  outcome.verdict =
      "The new lens ended 2.1 degrees counter-clockwise of the plan, within the tolerance of 5 "
      "degrees.";
  outcome.references = {{casefile::ReferenceKind::Ink,
                         true,
                         rad_from_deg(0.3),
                         {{0.0, rad_from_deg(0.4), rad_from_deg(0.3), false},
                          {angle::pi, rad_from_deg(179.6), rad_from_deg(0.3), false}},
                         0.0,
                         "Two ink marks were found; they agree within 0.8 degrees."}};
  outcome.budget.alignment = interval(1.5, 0.9);
  outcome.budget.rotation_after_placement = interval(0.6, 0.5);
  outcome.budget.total = interval(2.1, 0.9);
  outcome.evidence = {evidence(50, outcome::LensState::Previous, "The previous lens lies still"),
                      evidence(280, outcome::LensState::New, "The new lens at the end")};
  outcome.limitations = {{4.0, 4.8, "the limbus is covered"}};
  outcome.hand_click_sd_px = 2.0;
  outcome.hand_readings = {
      {11.0, "r1", true, interval(114.4, 1.9), 10.2, 12.0,
       "Its marks were followed; an invented remark."},
      {11.0, "r2", true, interval(113.2, 1.9), 10.2, 12.0, "Its marks were followed."},
      {99.0, "", false, {}, {}, {}, "Not used: it lies outside the recording."}};
  outcome.reader_agreement = {{"r1", "r2", 1, rad_from_deg(-1.2), rad_from_deg(1.2), {}}};
  return outcome;
}

outcome::CaseOutcome empty_outcome() {
  outcome::CaseOutcome outcome;
  outcome.stated.id = "X-002";
  fill_run(outcome);
  outcome.verdict = "No eye was found in the recording, so nothing can be said about the axis.";
  outcome.axes_are_relative = true;
  for (int frame = 0; frame < frames; ++frame) {
    outcome::TimelineRow row;
    row.frame = frame;
    row.time_s = frame / rate_hz;
    row.why_not = "no eye";
    outcome.rows.push_back(row);
  }
  outcome.limitations = {{0.0, 12.0, "no eye was found"}};
  return outcome;
}

Scratch::Scratch() {
  std::random_device random;
  path_ = std::filesystem::temp_directory_path() /
          ("rhumb-report-" + std::to_string(::getpid()) + "-" + std::to_string(random()));
  std::filesystem::create_directories(path_);
}

Scratch::~Scratch() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::string text_of(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

}  // namespace rhumb::report_test
