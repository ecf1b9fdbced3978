// An invented recording for the tests of marks set by hand: poses that turn and drift, straightened
// pupils with dots.
#pragma once

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "analyze/anchors.h"
#include "angle/angle.h"
#include "eye/orientation.h"
#include "eye/register.h"

namespace rhumb::analyze_test {

using angle::rad_from_deg;

inline constexpr int frames = 100;
inline constexpr double rate_hz = 25.0;
inline constexpr double radius_px = 200.0;
inline constexpr double zero_deg = 3.0;   // meridian of the atlas's x axis
inline constexpr double lens_deg = 70.0;  // in the eye's meridians

struct ByHandCase {
  casefile::Case stated;
  analyze::Pass pass{{}, lens::PatchStore({}, 64u << 20), {}};
  analyze::FrameReading coarse;
  analyze::FineReading fine;
  analyze::ChamberReading chamber;
  analyze::Tie tie;
  std::vector<outcome::TimelineRow> rows;

  explicit ByHandCase(casefile::Superior superior = casefile::Superior::Bottom,
                      bool mirrored = false) {
    stated.video.superior = superior;
    stated.video.mirrored = mirrored;
    stated.references = {{casefile::ReferenceKind::Ink, {0.0, angle::pi}, {}, 0.0, {}}};
    pass.facts.width = 1280;
    pass.facts.height = 720;
    tie.zero_rad = rad_from_deg(zero_deg);
    tie.zero_se_rad = rad_from_deg(0.1);
    tie.axes_can_be_given = true;
    for (int k = 0; k < frames; ++k) {
      analyze::SeenFrame seen{k, k / rate_hz, false, pose_at(k)};
      pass.frames.push_back(seen);
      outcome::TimelineRow row;
      row.frame = k;
      row.time_s = seen.time_s;
      row.eye_found = true;
      row.pose = seen.pose;
      row.lens = outcome::LensState::None;
      row.why_not = "no lens marks are seen";
      rows.push_back(row);
    }
  }

  // The eye turns by up to 4 degrees and drifts.
  eye::EyePose pose_at(int k) const {
    eye::EyePose pose;
    pose.found = true;
    pose.rotation_rad = rad_from_deg(4.0 * std::sin(0.05 * k));
    pose.picture_from_atlas =
        eye::linear_of(eye::picture_from_upright(stated.video.superior, stated.video.mirrored),
                       {radius_px, pose.rotation_rad, Eigen::Vector2d::Zero()});
    pose.offset_px = {640.0 + 10.0 * std::sin(0.1 * k), 360.0 + 8.0 * std::cos(0.07 * k)};
    return pose;
  }

  // Straightened pupils: three dots at each end of the axis that `axis_deg` gives for a frame,
  // eye's meridians.
  template <typename AxisOf>
  void add_patches(const AxisOf& axis_deg) {
    const lens::PatchGeometry geometry = pass.patches.geometry();
    cv::RNG noise(7);
    for (int k = 0; k < frames; ++k) {
      cv::Mat luma(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(150));
      const double along = rad_from_deg(axis_deg(k) - zero_deg);
      for (const double at : {-0.45, -0.41, -0.37, 0.37, 0.41, 0.45}) {
        const Eigen::Vector2d px =
            geometry.pixel_from(at * Eigen::Vector2d(std::cos(along), std::sin(along)));
        cv::circle(luma,
                   cv::Point(static_cast<int>(std::lround(16 * px.x())),
                             static_cast<int>(std::lround(16 * px.y()))),
                   24, cv::Scalar(110), cv::FILLED, cv::LINE_AA, 4);
      }
      cv::Mat grain(luma.size(), CV_16SC1);
      noise.fill(grain, cv::RNG::NORMAL, 0.0, 2.0);
      cv::add(luma, grain, luma, cv::noArray(), CV_8U);
      pass.patches.append({luma, cv::Mat::zeros(luma.size(), CV_8UC1)});
    }
  }

  casefile::PointPx pixel(int frame, double meridian_deg, double radius) const {
    const double rad = rad_from_deg(meridian_deg - zero_deg);
    const Eigen::Vector2d at =
        pose_at(frame).picture_from(radius * Eigen::Vector2d(std::cos(rad), std::sin(rad)));
    return {at.x(), at.y()};
  }

  casefile::Anchor lens_anchor(int frame, double axis_deg, const std::string& reader = {}) const {
    casefile::Anchor anchor;
    anchor.time_s = frame / rate_hz;
    anchor.reader = reader;
    anchor.lens_marks_px = {pixel(frame, axis_deg, 0.41), pixel(frame, axis_deg + 180.0, 0.41)};
    return anchor;
  }

  void add_limbus(casefile::Anchor& anchor, int frame) const {
    for (const double meridian : {10.0, 70.0, 130.0, 200.0, 260.0, 330.0})
      anchor.limbus_px.push_back(pixel(frame, meridian, 1.0));
  }

  void add_ink(casefile::Anchor& anchor, int frame, double off_deg = 0.0) const {
    for (const double meridian : {0.0, 180.0})
      anchor.ink_px.push_back(pixel(frame, meridian + off_deg, 1.1));
  }

  void lose_eye(int begin, int end) {
    for (int k = begin; k < end; ++k) {
      pass.frames[static_cast<std::size_t>(k)].pose = {};
      outcome::TimelineRow& row = rows[static_cast<std::size_t>(k)];
      row.pose = {};
      row.eye_found = false;
    }
  }

  // The program reads an axis with a half-width of 0.8 degrees in these frames.
  void read_axis(int begin, int end, double axis_deg,
                 outcome::LensState lens = outcome::LensState::New) {
    for (int k = begin; k < end; ++k) {
      outcome::TimelineRow& row = rows[static_cast<std::size_t>(k)];
      row.lens = lens;
      row.axis = outcome::Interval{rad_from_deg(axis_deg), rad_from_deg(axis_deg - 0.8),
                                   rad_from_deg(axis_deg + 0.8)};
      row.confidence = 0.95;
      row.why_not.clear();
    }
  }

  analyze::AnchorReport apply() {
    const analyze::RowInputs inputs{
        pass, nullptr, 0.0, 0.0, coarse, fine, chamber, tie, false, false, rad_from_deg(72.0),
        true};
    return analyze::apply_anchors(stated, inputs, rows);
  }

  const outcome::TimelineRow& row(int frame) const { return rows[static_cast<std::size_t>(frame)]; }
};

}  // namespace rhumb::analyze_test
