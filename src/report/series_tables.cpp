// drift.csv and result.json of a follow-up series.
#include <fmt/core.h>

#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "files/csv_field.h"
#include "outcome/caution.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/series_report.h"
#include "report/timeline_csv.h"

namespace rhumb::report {
namespace {

using followup::SeriesOutcome;
using followup::VisitResult;

std::string degrees_text(double value) { return fmt::format("{:.4f}", rounded(value)); }

Json interval_value(const std::optional<IntervalDeg>& interval) {
  if (!interval) return nullptr;
  return {{"value_deg", number(interval->value)},
          {"low_deg", number(interval->low)},
          {"high_deg", number(interval->high)}};
}

std::optional<IntervalDeg> axis_of(const VisitResult& visit) {
  if (!visit.axis) return std::nullopt;
  return axis_deg(*visit.axis);
}

std::optional<IntervalDeg> turn_of(const std::optional<outcome::Interval>& turn) {
  if (!turn) return std::nullopt;
  return deviation_deg(*turn);
}

// The photographs' fingerprints are the last of the run's inputs; a frame of the operation has
// none.
std::string sha256_of(const SeriesOutcome& series, std::size_t place,
                      const outcome::RunRecord& run) {
  const std::size_t behind = series.photos.size() - place;
  if (series.photos[place].from_operation || behind > run.input_sha256.size()) return {};
  return run.input_sha256[run.input_sha256.size() - behind];
}

}  // namespace

std::string drift_csv(const SeriesOutcome& series) {
  std::string out =
      "visit,date,axis_deg,axis_low_deg,axis_high_deg,head_tilt_deg,drift_deg,drift_low_deg,"
      "drift_high_deg,step_deg\r\n";
  for (const VisitResult& visit : series.visits) {
    out += files::csv_field(visit.label) + ',' + files::csv_field(visit.date);
    const auto three = [&](const std::optional<IntervalDeg>& v) {
      out += v ? fmt::format(",{},{},{}", degrees_text(v->value), degrees_text(v->low),
                             degrees_text(v->high))
               : std::string(",,,");
    };
    const auto one = [&](const std::optional<IntervalDeg>& v) {
      out += v ? ',' + degrees_text(v->value) : std::string(",");
    };
    three(axis_of(visit));
    one(turn_of(visit.head_tilt));
    three(turn_of(visit.drift));
    one(turn_of(visit.step));
    out += "\r\n";
  }
  return out;
}

std::string series_json(const SeriesOutcome& series, const outcome::RunRecord& run) {
  Json root;
  root["schema_version"] = outcome::schema_version;
  root["program"] = "rhumb";
  root["caution"] = outcome::caution;
  root["kind"] = "followup";
  root["series"] = {{"id", series.stated.id},
                    {"eye", series.stated.eye == casefile::Eye::Right ? "right" : "left"},
                    {"planned_axis_deg", degrees_or_null(series.stated.plan_axis_rad)}};
  root["verdict"] = series.verdict;
  root["notes"] = series.notes;
  Json visits = Json::array();
  for (std::size_t v = 0; v < series.visits.size(); ++v) {
    const VisitResult& visit = series.visits[v];
    Json photographs = Json::array();
    for (std::size_t place = 0; place < series.photos.size(); ++place) {
      const auto& photo = series.photos[place];
      if (photo.visit != static_cast<int>(v)) continue;
      Json one;
      one["file"] = photo.file.filename().string();
      one["sha256"] = text_or_null(sha256_of(series, place, run));
      one["matched"] = photo.matched;
      one["limbus"] = nullptr;
      if (photo.limbus)
        one["limbus"] = {{"x_px", number(photo.limbus->centre_px.x())},
                         {"y_px", number(photo.limbus->centre_px.y())},
                         {"radius_px", number(photo.limbus->mean_radius_px())}};
      one["rotation_deg"] = photo.matched ? degrees(photo.rotation_rad) : Json(nullptr);
      one["axis_deg"] = degrees_or_null(photo.axis_rad);
      one["axis_se_deg"] = photo.axis_rad ? degrees(photo.axis_se_rad) : Json(nullptr);
      one["why_not"] = text_or_null(photo.why_not);
      photographs.push_back(std::move(one));
    }
    visits.push_back({{"visit", visit.label},
                      {"date", text_or_null(visit.date)},
                      {"axis", interval_value(axis_of(visit))},
                      {"head_tilt", interval_value(turn_of(visit.head_tilt))},
                      {"drift", interval_value(turn_of(visit.drift))},
                      {"step", interval_value(turn_of(visit.step))},
                      {"why_not", text_or_null(visit.why_not)},
                      {"photographs", std::move(photographs)}});
  }
  root["visits"] = std::move(visits);
  Json pairs = Json::array();
  for (const auto& pair : series.pairs)
    pairs.push_back(
        {{"first", series.photos[static_cast<std::size_t>(pair.first)].file.filename().string()},
         {"second", series.photos[static_cast<std::size_t>(pair.second)].file.filename().string()},
         {"accepted", pair.match.accepted},
         {"outlier", pair.outlier},
         {"rotation_deg", pair.match.accepted ? degrees(pair.match.rotation_rad) : Json(nullptr)},
         {"rotation_se_deg",
          pair.match.accepted ? degrees(pair.match.rotation_se_rad) : Json(nullptr)},
         {"residual_deg", pair.match.accepted ? degrees(pair.residual_rad) : Json(nullptr)},
         {"share_agreeing", number(pair.match.share_agreeing)},
         {"sectors_agreeing", pair.match.sectors_agreeing},
         {"log_odds", number(pair.match.evidence)}});
  root["pairs"] = std::move(pairs);
  Json libraries = Json::object(), options = Json::object();
  for (const auto& [name, version] : run.libraries) libraries[name] = version;
  for (const auto& [name, value] : run.options) options[name] = value;
  root["run"] = {{"version", run.program_version},    {"commit", run.commit},
                 {"libraries", std::move(libraries)}, {"options", std::move(options)},
                 {"case_sha256", run.case_sha256},    {"input_sha256", run.input_sha256},
                 {"warnings", run.warnings}};
  return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace rhumb::report
