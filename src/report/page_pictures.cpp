#include "report/page_pictures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/page_words.h"

namespace rhumb::report {
namespace {

using angle::deg_from_rad;

constexpr std::size_t stills_on_paper = 3;

double x_of(double radius, double rad) { return rounded(radius * std::cos(rad)); }
// SVG counts y downwards, the eye upwards.
double y_of(double radius, double rad) { return rounded(-radius * std::sin(rad)); }

// The outline of a sector of a ring, counter-clockwise from low to high.
std::string sector(double low_rad, double high_rad, double inner, double outer) {
  return fmt::format("M{} {}L{} {}A{} {} 0 0 0 {} {}L{} {}A{} {} 0 0 1 {} {}Z",
                     x_of(inner, low_rad), y_of(inner, low_rad), x_of(outer, low_rad),
                     y_of(outer, low_rad), outer, outer, x_of(outer, high_rad),
                     y_of(outer, high_rad), x_of(inner, high_rad), y_of(inner, high_rad), inner,
                     inner, x_of(inner, low_rad), y_of(inner, low_rad));
}

// The still that shows the final axis, if there is one; else the last.
std::size_t deciding_still(const outcome::CaseOutcome& outcome, const StillSet& stills) {
  std::size_t chosen = stills.size();
  for (std::size_t i = 0; i < stills.size(); ++i) {
    if (!stills[i] || stills[i]->straight_uri.empty()) continue;
    const double time_s = outcome.evidence[i].time_s;
    const bool at_end = outcome.final && time_s >= outcome.final->start_s - 1e-6 &&
                        time_s <= outcome.final->end_s + 1e-6;
    if (at_end) return i;
    chosen = i;
  }
  return chosen;
}

Json meridian_ticks() {
  Json ticks = Json::array();
  for (int deg = 0; deg < 360; deg += 10)
    ticks.push_back({{"turn", -deg},
                     {"length", deg % 90 == 0   ? 0.09
                                : deg % 30 == 0 ? 0.06
                                                : 0.03}});
  return ticks;
}

Json meridian_labels() {
  Json labels = Json::array();
  for (int deg = 0; deg < 360; deg += 30) {
    const double rad = angle::rad_from_deg(deg);
    labels.push_back({{"x", x_of(1.265, rad)},
                      {"y", y_of(1.265, rad)},
                      {"text", fmt::format("{}", deg == 0 ? 180 : deg)}});
    if (deg == 180) labels.erase(labels.size() - 1);
  }
  return labels;
}

std::string picture_label(const outcome::CaseOutcome& outcome) {
  std::string label = "The eye seen from the front.";
  if (outcome.final) {
    const IntervalDeg axis = axis_deg(outcome.final->axis);
    label += fmt::format(" Achieved axis {} degrees, from {} to {}.", axis_text(axis.value),
                         axis_text(axis.low), axis_text(axis.high));
  }
  if (outcome.planned_axis_rad)
    label += fmt::format(" Planned axis {} degrees.",
                         axis_text(deg_from_rad(*outcome.planned_axis_rad)));
  return label;
}

// Points of the atlas in the eye's frame.
Eigen::Vector2d in_eye(const Eigen::Vector2d& atlas, double zero_rad) {
  return {atlas.x() * std::cos(zero_rad) - atlas.y() * std::sin(zero_rad),
          atlas.x() * std::sin(zero_rad) + atlas.y() * std::cos(zero_rad)};
}

void add_marks(Json& value, const outcome::EvidenceFrame& evidence, double zero_rad) {
  Json straight = Json::array();
  Json recorded = Json::array();
  for (const Eigen::Vector2d& mark : evidence.marks_atlas) {
    const Eigen::Vector2d point = in_eye(mark, zero_rad);
    straight.push_back({{"x", rounded(point.x())}, {"y", rounded(-point.y())}});
    const Eigen::Vector2d pixel = evidence.pose.picture_from(mark);
    recorded.push_back({{"x", rounded(pixel.x(), 0.01)}, {"y", rounded(pixel.y(), 0.01)}});
  }
  value["straight_marks"] = straight;
  value["crop_marks"] = recorded;
}

Json straight_axis(const outcome::EvidenceFrame& evidence, double zero_rad) {
  if (evidence.marks_atlas.empty()) return nullptr;
  const Eigen::Vector2d centre = in_eye(evidence.lens_centre_atlas, zero_rad);
  const double rad = evidence.axis_atlas_rad + zero_rad;
  const auto x = [&](double radius) { return rounded(centre.x() + radius * std::cos(rad)); };
  const auto y = [&](double radius) { return rounded(-centre.y() - radius * std::sin(rad)); };
  return {{"x1", x(0.66)},  {"y1", y(0.66)},  {"x2", x(1.0)},  {"y2", y(1.0)},
          {"x3", x(-0.66)}, {"y3", y(-0.66)}, {"x4", x(-1.0)}, {"y4", y(-1.0)}};
}

// The next of 1, 2, 5, 10, ... times `unit` that holds a value.
double round_limit(double value, double unit) {
  for (double limit = unit;; limit *= 10.0)
    for (const double factor : {1.0, 2.0, 5.0})
      if (limit * factor >= value || limit > 1e6) return limit * factor;
}

}  // namespace

Json gauge_values(const outcome::CaseOutcome& outcome) {
  if (!outcome.final || !outcome.final->deviation) return nullptr;
  const IntervalDeg deviation = deviation_deg(*outcome.final->deviation);
  const double tolerance = deg_from_rad(outcome.stated.plan.tolerance_rad.value_or(0.0));
  double half = 6.0;
  for (const double limit : {10.0, 20.0, 45.0, 90.0})
    if (std::max({std::abs(deviation.low), std::abs(deviation.high), 1.15 * tolerance}) > half)
      half = limit;
  const auto x = [half](double deg) {
    return rounded(200.0 + 190.0 * std::clamp(deg / half, -1.0, 1.0), 0.01);
  };
  Json ticks = Json::array();
  for (const double deg : {-half, -0.5 * half, 0.0, 0.5 * half, half})
    ticks.push_back(
        {{"x", x(deg)}, {"length", 6}, {"text", signed_text(deg, half == 45.0 ? 1 : 0)}});
  return {{"label", fmt::format("Deviation {} degrees, from {} to {}", signed_text(deviation.value),
                                signed_text(deviation.low), signed_text(deviation.high))},
          {"tolerance_x", x(-tolerance)},
          {"tolerance_width", rounded(x(tolerance) - x(-tolerance), 0.01)},
          {"has_tolerance", outcome.stated.plan.tolerance_rad.has_value()},
          {"ticks", ticks},
          {"plan_x", x(0.0)},
          {"low_x", x(deviation.low)},
          {"interval_width", std::max(1.0, rounded(x(deviation.high) - x(deviation.low), 0.01))},
          {"value_x", x(deviation.value)}};
}

Json eye_picture_values(const outcome::CaseOutcome& outcome, const StillSet& stills) {
  const std::size_t still = deciding_still(outcome, stills);
  if (!outcome.final && !outcome.planned_axis_rad && still >= stills.size()) return nullptr;
  const eye::LimbusEllipse& limbus = outcome.limbus_in_atlas;
  const bool known = limbus.semi_major_px > 0.0 && limbus.semi_minor_px > 0.0;
  Json value = {
      {"label", picture_label(outcome)},
      {"image", still < stills.size() ? Json(stills[still]->straight_uri) : Json()},
      {"limbus_major", known ? rounded(limbus.semi_major_px) : 1.0},
      {"limbus_minor", known ? rounded(limbus.semi_minor_px) : 1.0},
      {"limbus_turn",
       rounded(-deg_from_rad(limbus.angle_rad + outcome.atlas_zero_meridian_rad), 0.01)},
      {"ticks", meridian_ticks()},
      {"labels", meridian_labels()},
      {"planned", nullptr},
      {"achieved", nullptr},
      {"caption", still < stills.size() ? "Frame at " + clock_text(outcome.evidence[still].time_s) +
                                              ", straightened into the eye\u2019s frame."
                                        : "Drawn without a picture."}};
  if (outcome.planned_axis_rad)
    value["planned"] = {{"turn", rounded(-deg_from_rad(*outcome.planned_axis_rad), 0.01)}};
  if (outcome.final) {
    const outcome::Interval& axis = outcome.final->axis;
    value["achieved"] = {
        {"turn", rounded(-deg_from_rad(axis.value_rad), 0.01)},
        {"wedge", sector(axis.low_rad, axis.high_rad, 0.55, 1.02) +
                      sector(axis.low_rad + angle::pi, axis.high_rad + angle::pi, 0.55, 1.02)}};
  }
  return value;
}

Json evidence_values(const outcome::CaseOutcome& outcome, const StillSet& stills) {
  Json list = Json::array();
  for (std::size_t i = 0; i < outcome.evidence.size() && i < stills.size(); ++i) {
    if (!stills[i] || stills[i]->straight_uri.empty()) continue;
    const outcome::EvidenceFrame& evidence = outcome.evidence[i];
    const cv::Rect2d& crop = stills[i]->recorded_px;
    Json value = {{"caption", evidence.caption},
                  {"time", clock_text(evidence.time_s)},
                  {"time_s", seconds(evidence.time_s)},
                  {"straight_image", stills[i]->straight_uri},
                  {"straight_axis", straight_axis(evidence, outcome.atlas_zero_meridian_rad)},
                  {"crop_image", stills[i]->recorded_uri},
                  {"crop_box", fmt::format("{} {} {} {}", crop.x, crop.y, crop.width, crop.height)},
                  {"crop_x", crop.x},
                  {"crop_y", crop.y},
                  {"crop_width", crop.width},
                  {"crop_height", crop.height},
                  {"mark_radius", rounded(0.0185 * crop.width, 0.01)},
                  {"late", false}};
    add_marks(value, evidence, outcome.atlas_zero_meridian_rad);
    list.push_back(value);
  }
  // The last ones tell how it ended: they are kept on paper.
  for (std::size_t i = 0; i + stills_on_paper < list.size(); ++i) list[i]["late"] = true;
  return list;
}

Json double_angle_values(const optics::RefractiveEffect& effect) {
  if (effect.plot.empty()) return nullptr;
  double most = 0.0;
  for (const optics::PlotPoint& point : effect.plot)
    most = std::max(most, 2.0 * std::hypot(point.j0_D, point.j45_D));
  const double limit = round_limit(most, 0.5);
  Json rings = Json::array();
  for (const double share : {0.5, 1.0})
    rings.push_back({{"radius", 100.0 * share},
                     {"text_x", rounded(73.0 * share, 0.01)},  // outside of the ring, at 45 degrees
                     {"text_y", rounded(-73.0 * share, 0.01)},
                     {"text", dioptre_text(limit * share) + " D"}});
  Json points = Json::array();
  std::string label = "Double-angle plot.";
  for (const optics::PlotPoint& point : effect.plot) {
    // A cylinder C lies at half its size in J0 and J45; the plot counts the whole of it.
    const double scale = 200.0 / limit;
    const double cylinder = 2.0 * std::hypot(point.j0_D, point.j45_D);
    const double axis = deg_from_rad(0.5 * std::atan2(point.j45_D, point.j0_D));
    const std::string name =
        fmt::format("{}: {} D at {}°", point.label, dioptre_text(cylinder), axis_text(axis, 0));
    label += " " + name + ".";
    const double x = rounded(scale * point.j0_D, 0.01);
    const double y = rounded(-scale * point.j45_D, 0.01);
    points.push_back(
        {{"x", x},
         {"y", y},
         // Away from the centre and to alternate sides, so that neighbours stay legible.
         {"number_x", rounded(x + (points.size() % 2 == 0 ? 7.0 : -7.0), 0.01)},
         {"number_y", rounded(y + (points.size() % 2 == 0 ? 8.0 : -4.0), 0.01)},
         {"number", points.size() + 1},
         {"name", name},
         {"major", rounded(scale * point.ellipse.semi_major_D, 0.01)},
         {"minor", rounded(scale * point.ellipse.semi_minor_D, 0.01)},
         {"turn", rounded(-deg_from_rad(point.ellipse.angle_rad), 0.01)}});
  }
  return {{"label", label}, {"rings", rings}, {"points", points}};
}

}  // namespace rhumb::report
