// What the page's scripts work with, by columns so that long recordings stay small.
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "eye/orientation.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/page.h"
#include "report/words.h"

namespace rhumb::report {
namespace {

using Row = outcome::TimelineRow;

Json number_to(double value, double step) {
  return std::isfinite(value) ? Json(rounded(value, step)) : Json();
}

void add_axis(Json& rows, const Row& row) {
  if (!row.axis) {
    for (const char* name : {"axis", "low", "high", "deviation", "confidence"})
      rows[name].push_back(nullptr);
    return;
  }
  const IntervalDeg axis = axis_deg(*row.axis);
  rows["axis"].push_back(number_to(axis.value, 0.01));
  rows["low"].push_back(number_to(axis.low, 0.01));
  rows["high"].push_back(number_to(axis.high, 0.01));
  Json deviation;
  if (row.deviation_rad)
    deviation = number_to(
        deviation_deg({*row.deviation_rad, *row.deviation_rad, *row.deviation_rad}).value, 0.01);
  rows["deviation"].push_back(deviation);
  rows["confidence"].push_back(number_to(row.confidence, 0.001));
}

void add_pose(Json& poses, std::string& seen, const Row& row) {
  const bool found = row.pose.found;
  seen += found ? '1' : '0';
  const Eigen::Matrix2d& linear = row.pose.picture_from_atlas;
  const double values[] = {linear(0, 0), linear(0, 1),           linear(1, 0),
                           linear(1, 1), row.pose.offset_px.x(), row.pose.offset_px.y()};
  for (std::size_t i = 0; i < 6; ++i)
    poses[i].push_back(found ? number_to(values[i], 0.01) : Json(0));
}

// Numbers reasons in the order of their first appearance.
class Reasons {
 public:
  int number_of(const std::string& reason) {
    const auto [place, is_new] = numbers_.try_emplace(reason, static_cast<int>(list_.size()));
    if (is_new) list_.push_back(reason.empty() ? "no reason given" : reason);
    return place->second;
  }
  const Json& list() const { return list_; }

 private:
  std::map<std::string, int> numbers_;
  Json list_ = Json::array();
};

Json columns(const std::vector<Row>& timeline, Json& reasons_list) {
  Json rows = Json::object();
  for (const char* name :
       {"time", "frame", "lens", "axis", "low", "high", "deviation", "confidence", "hand", "why"})
    rows[name] = Json::array();
  Json poses = Json::array();
  for (int i = 0; i < 6; ++i) poses.push_back(Json::array());
  std::string seen;
  Reasons reasons;
  for (const Row& row : timeline) {
    rows["time"].push_back(seconds(row.time_s));
    rows["frame"].push_back(row.frame);
    rows["lens"].push_back(static_cast<int>(row.lens));
    rows["hand"].push_back(row.rests_on_anchor ? 1 : 0);
    rows["why"].push_back(row.axis ? -1 : reasons.number_of(row.why_not));
    add_axis(rows, row);
    add_pose(poses, seen, row);
  }
  rows["poses"] = poses;
  rows["eye"] = seen;
  reasons_list = reasons.list();
  return rows;
}

Json still_stretches(const outcome::CaseOutcome& outcome) {
  Json list = Json::array();
  for (const outcome::Episode& episode : outcome.episodes)
    for (const outcome::StillStretch& still : episode.still)
      list.push_back({{"start", seconds(still.start_s)}, {"end", seconds(still.end_s)}});
  return list;
}

Json episode_names(const outcome::CaseOutcome& outcome) {
  Json list = Json::array();
  for (const outcome::Episode& episode : outcome.episodes)
    list.push_back(
        {{"start", seconds(episode.start_s)}, {"name", std::string(word(episode.lens)) + " lens"}});
  return list;
}

Json unread(const outcome::CaseOutcome& outcome) {
  Json list = Json::array();
  for (const outcome::Limitation& limit : outcome.limitations)
    list.push_back({{"start", seconds(limit.start_s)}, {"end", seconds(limit.end_s)}});
  return list;
}

Json ink_meridians(const casefile::Case& stated) {
  Json list = Json::array();
  for (const casefile::Reference& reference : stated.references)
    if (reference.kind == casefile::ReferenceKind::Ink)
      for (const double meridian_rad : reference.meridians_rad)
        list.push_back(degrees(meridian_rad));
  return list;
}

Json curve(const std::optional<optics::RefractiveEffect>& effect) {
  if (!effect || !effect->refraction) return nullptr;
  Json list = Json::array();
  for (const optics::CurveEstimate& point : effect->refraction->curve)
    list.push_back({{"axis", degrees(point.axis_rad)},
                    {"value", number(point.cylinder_D.value)},
                    {"low", number(point.cylinder_D.low)},
                    {"high", number(point.cylinder_D.high)}});
  return list.empty() ? Json() : list;
}

}  // namespace

Json page_data(const outcome::CaseOutcome& outcome) {
  Json reasons;
  Json rows = columns(outcome.rows, reasons);
  const Eigen::Matrix2d upright =
      eye::picture_from_upright(outcome.stated.video.superior, outcome.stated.video.mirrored);
  const double last_s = outcome.rows.empty() ? 0.0 : outcome.rows.back().time_s;
  return {{"rows", rows},
          {"reasons", reasons},
          {"words", {"no lens", "previous lens", "new lens", "lens not known"}},
          {"stills", still_stretches(outcome)},
          {"episodes", episode_names(outcome)},
          {"unread", unread(outcome)},
          {"planned", degrees_or_null(outcome.planned_axis_rad)},
          {"tolerance", degrees_or_null(outcome.stated.plan.tolerance_rad)},
          {"zero", degrees(outcome.atlas_zero_meridian_rad)},
          {"ink", ink_meridians(outcome.stated)},
          {"upright", {upright(0, 0), upright(0, 1), upright(1, 0), upright(1, 1)}},
          {"video",
           {{"width", outcome.video.width},
            {"height", outcome.video.height},
            {"rate", number(outcome.video.frame_rate)}}},
          {"origin", outcome.rows.empty() ? Json(0) : seconds(outcome.rows.front().time_s)},
          {"first_time", outcome.final ? seconds(outcome.final->start_s) : seconds(last_s)},
          {"final_axis", outcome.final ? Json(axis_deg(outcome.final->axis).value) : Json()},
          {"curve", curve(effect_of(outcome))}};
}

}  // namespace rhumb::report
