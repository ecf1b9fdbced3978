#include "report/overlay.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "angle/angle.h"
#include "report/degrees.h"
#include "report/page_words.h"
#include "report/words.h"

namespace rhumb::report {
namespace {

using angle::pi;
using angle::rad_from_deg;

// Blue, green, red; chosen apart in lightness too, and never the only sign of a meaning.
const cv::Scalar pale(224, 226, 222);
const cv::Scalar plan_colour(255, 230, 191);
const cv::Scalar axis_colour(122, 178, 255);
const cv::Scalar dark(30, 26, 20);
constexpr int fraction_bits = 4;  // of a pixel, for OpenCV's drawing

class Pen {
 public:
  Pen(cv::Mat& picture, const outcome::CaseOutcome& outcome, const outcome::TimelineRow& row,
      double scale)
      : picture_(picture),
        pose_(row.pose),
        zero_rad_(outcome.atlas_zero_meridian_rad),
        scale_(scale),
        width_(std::max(1, static_cast<int>(std::lround(picture.cols / 700.0)))) {}

  // A point of the eye's frame at fractions of a pixel.
  cv::Point at(double radius, double meridian_rad) const {
    const double rad = meridian_rad - zero_rad_;
    return in_picture(radius * Eigen::Vector2d(std::cos(rad), std::sin(rad)));
  }
  cv::Point in_picture(const Eigen::Vector2d& atlas) const {
    const Eigen::Vector2d pixel = pose_.picture_from(atlas);
    const auto fixed = [this](double value) {
      const double scaled = (value + 0.5) * scale_ - 0.5;
      return static_cast<int>(std::lround(std::clamp(scaled, -1e4, 1e4) * (1 << fraction_bits)));
    };
    return {fixed(pixel.x()), fixed(pixel.y())};
  }
  void stroke(const cv::Point& from, const cv::Point& to, const cv::Scalar& colour,
              int extra = 0) const {
    cv::line(picture_, from, to, dark, width_ + extra + 2, cv::LINE_AA, fraction_bits);
    cv::line(picture_, from, to, colour, width_ + extra, cv::LINE_AA, fraction_bits);
  }
  void path(const std::vector<cv::Point>& points, const cv::Scalar& colour) const {
    cv::polylines(picture_, points, false, colour, width_, cv::LINE_AA, fraction_bits);
  }
  // What is filled afterwards keeps its colour: only a hair of the outline shows beside it.
  void outline(const std::vector<cv::Point>& points, const cv::Scalar& colour) const {
    cv::polylines(picture_, points, false, colour, width_ + 1, cv::LINE_AA, fraction_bits);
  }
  void thick(const std::vector<cv::Point>& points, const cv::Scalar& colour) const {
    cv::polylines(picture_, points, false, colour, width_ + 2, cv::LINE_AA, fraction_bits);
  }
  // Centred on a point, small.
  void number(const std::string& text, const cv::Point& place) const {
    const double size = std::max(0.3, picture_.cols / 2700.0);
    const cv::Size box = cv::getTextSize(text, cv::FONT_HERSHEY_SIMPLEX, size, 1, nullptr);
    const cv::Point at((place.x >> fraction_bits) - box.width / 2,
                       (place.y >> fraction_bits) + box.height / 2);
    cv::putText(picture_, text, at, cv::FONT_HERSHEY_SIMPLEX, size, dark, 3, cv::LINE_AA);
    cv::putText(picture_, text, at, cv::FONT_HERSHEY_SIMPLEX, size, pale, 1, cv::LINE_AA);
  }
  void area(const std::vector<cv::Point>& points, const cv::Scalar& colour) const {
    cv::Rect box = cv::boundingRect(points);
    box = cv::Rect(box.x >> fraction_bits, box.y >> fraction_bits, (box.width >> fraction_bits) + 2,
                   (box.height >> fraction_bits) + 2) &
          cv::Rect(cv::Point(), picture_.size());
    if (box.area() == 0) return;
    cv::Mat part = picture_(box);
    cv::Mat painted = part.clone();
    cv::fillPoly(painted, std::vector<std::vector<cv::Point>>{points}, colour, cv::LINE_AA,
                 fraction_bits, -box.tl());
    cv::addWeighted(painted, 0.95, part, 0.05, 0.0, part);
  }

 private:
  cv::Mat& picture_;
  const eye::EyePose& pose_;
  double zero_rad_;
  double scale_;
  int width_;
};

void draw_limbus(const Pen& pen, const eye::LimbusEllipse& limbus) {
  const bool known = limbus.semi_major_px > 0.0 && limbus.semi_minor_px > 0.0;
  const double major = known ? limbus.semi_major_px : 1.0;
  const double minor = known ? limbus.semi_minor_px : 1.0;
  const double cos = std::cos(limbus.angle_rad);
  const double sin = std::sin(limbus.angle_rad);
  for (int arc = 0; arc < 24; ++arc) {
    std::vector<cv::Point> points;
    for (const double part : {-2.0, 0.0, 2.0}) {
      const double rad = rad_from_deg(15.0 * arc + part);
      const Eigen::Vector2d own(major * std::cos(rad), minor * std::sin(rad));
      const Eigen::Vector2d turned(cos * own.x() - sin * own.y(), sin * own.x() + cos * own.y());
      points.push_back(pen.in_picture(turned + limbus.centre_px));
    }
    pen.path(points, pale);
  }
}

void draw_meridians(const Pen& pen) {
  for (int deg = 0; deg < 360; deg += 30) {
    const double rad = rad_from_deg(deg);
    pen.stroke(pen.at(1.10, rad), pen.at(deg % 90 == 0 ? 1.16 : 1.13, rad), pale);
    if (deg % 90 == 0) pen.number(fmt::format("{}", deg), pen.at(1.23, rad));
  }
}

void draw_plan(const Pen& pen, double axis_rad) {
  for (const double end : {0.0, pi})
    for (const double radius : {1.08, 1.18, 1.28})
      pen.stroke(pen.at(radius, axis_rad + end), pen.at(radius + 0.05, axis_rad + end), plan_colour,
                 1);
}

// The stroke of the axis is never wider than its interval can be told from: the wedge is the
// interval, its dark edges are the bounds.
void draw_axis(const Pen& pen, const outcome::Interval& axis) {
  constexpr double inner = 1.04;
  constexpr double outer = 1.33;
  for (const double end : {0.0, pi}) {
    std::vector<cv::Point> wedge;
    constexpr int steps = 12;
    const auto bound = [&](int i) {
      return axis.low_rad + end + (axis.high_rad - axis.low_rad) * i / double{steps};
    };
    for (int i = 0; i <= steps; ++i) wedge.push_back(pen.at(outer, bound(i)));
    for (int i = steps; i >= 0; --i) wedge.push_back(pen.at(inner, bound(i)));
    wedge.push_back(wedge.front());
    pen.outline(wedge, dark);
    pen.area(wedge, axis_colour);
    // A narrow wedge is hidden by its own outline; the axis in the middle is as wide as that.
    pen.thick({pen.at(inner, axis.value_rad + end), pen.at(outer, axis.value_rad + end)},
              axis_colour);
  }
}

// OpenCV's letters are ASCII; a letter of several bytes becomes one question mark.
std::string ascii(const std::string& text) {
  std::string plain;
  for (const char letter : text) {
    const auto byte = static_cast<unsigned char>(letter);
    if (byte >= 0x20 && byte < 0x7F) plain += letter;
    if (byte >= 0xC0) plain += '?';
  }
  return plain;
}

std::vector<std::string> lines_for(const outcome::CaseOutcome& outcome,
                                   const outcome::TimelineRow& row) {
  const char* lens = row.lens == outcome::LensState::None      ? "no lens"
                     : row.lens == outcome::LensState::Unknown ? "lens not known"
                     : row.lens == outcome::LensState::New     ? "new lens"
                                                               : "previous lens";
  std::vector<std::string> lines = {clock_text(row.time_s) + "  " + lens};
  if (!row.axis) {
    lines.push_back(ascii("not read" + (row.why_not.empty() ? "" : ": " + row.why_not)));
    return lines;
  }
  const IntervalDeg axis = axis_deg(*row.axis);
  lines.push_back(fmt::format("axis {} deg ({} to {}){}", axis_text(axis.value),
                              axis_text(axis.low), axis_text(axis.high),
                              row.rests_on_anchor ? ", by hand" : ""));
  std::string last = std::string(confidence_words(row.confidence)) + " within 1 deg";
  if (row.deviation_rad) {
    const double deviation =
        deviation_deg({*row.deviation_rad, *row.deviation_rad, *row.deviation_rad}).value;
    last =
        fmt::format("{}{:.1f} deg from plan, ", deviation < 0.0 ? "-" : "+", std::abs(deviation)) +
        last;
  }
  lines.push_back(last);
  if (outcome.axes_are_relative) lines.push_back("axes are relative: only changes count");
  return lines;
}

void draw_text(cv::Mat& picture, const std::vector<std::string>& lines) {
  const double size = std::max(0.32, picture.cols / 2200.0);
  const int step = static_cast<int>(std::lround(36.0 * size));
  int widest = 0;
  for (const std::string& line : lines)
    widest =
        std::max(widest, cv::getTextSize(line, cv::FONT_HERSHEY_SIMPLEX, size, 1, nullptr).width);
  const int height = step * static_cast<int>(lines.size()) + step / 2;
  const cv::Rect box = cv::Rect(0, picture.rows - height, widest + step, height) &
                       cv::Rect(cv::Point(), picture.size());
  picture(box).convertTo(picture(box), -1, 0.2);
  for (std::size_t i = 0; i < lines.size(); ++i)
    cv::putText(picture, lines[i],
                cv::Point(step / 2, picture.rows - height + step * static_cast<int>(i + 1)),
                cv::FONT_HERSHEY_SIMPLEX, size, pale, 1, cv::LINE_AA);
}

}  // namespace

void draw_overlay(cv::Mat& picture, const outcome::CaseOutcome& outcome,
                  const outcome::TimelineRow& row, double scale) {
  if (row.pose.found) {
    const Pen pen(picture, outcome, row, scale);
    draw_limbus(pen, outcome.limbus_in_atlas);
    draw_meridians(pen);
    if (outcome.planned_axis_rad) draw_plan(pen, *outcome.planned_axis_rad);
    if (row.axis) draw_axis(pen, *row.axis);
  }
  draw_text(picture, lines_for(outcome, row));
}

}  // namespace rhumb::report
