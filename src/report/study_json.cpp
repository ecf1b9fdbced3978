// study.json, and the writing of all that a study leaves.
#include <cmath>
#include <nlohmann/json.hpp>

#include "files/partial_file.h"
#include "files/staged_folder.h"
#include "outcome/caution.h"
#include "report/json_values.h"
#include "report/study_values.h"

namespace rhumb::report {
namespace {

using statistics::Estimate;
using study::Study;

Json estimate(const std::optional<Estimate>& e, double factor = 1.0) {
  if (!e) return nullptr;
  return {{"value", number(factor * e->value)},
          {"low", number(factor * e->low)},
          {"high", number(factor * e->high)}};
}

Json visits_of(const study::EyeResult& eye, const study::TableEye& stated) {
  Json visits = Json::array();
  for (const auto& visit : eye.visits) {
    const auto days = study::days_between(eye.visits.front().date, visit.date);
    const auto since = study::days_between(stated.surgery_date, visit.date);
    visits.push_back({{"visit", visit.label},
                      {"date", text_or_null(visit.date)},
                      {"days_since_first", days ? Json(*days) : Json(nullptr)},
                      {"days_since_surgery", since ? Json(*since) : Json(nullptr)},
                      {"axis_deg", estimate(visit.axis)},
                      {"head_tilt_deg", estimate(visit.head_tilt)},
                      {"drift_deg", estimate(visit.drift)},
                      {"step_deg", estimate(visit.step)},
                      {"why_not", text_or_null(visit.why_not)}});
  }
  return visits;
}

Json interval_of(const study::Interval& i) {
  Json within = Json::array();
  for (const auto& w : i.within)
    within.push_back(
        {{"bound_deg", w.bound_deg}, {"eyes", w.eyes}, {"percent", estimate(w.share, 100)}});
  Json rotations = Json::array();
  for (const double r : i.rotations_deg) rotations.push_back(number(r));
  return {{"kind", i.since_first ? "since_first" : "step"},
          {"from", i.from},
          {"to", i.to},
          {"median_days", i.median_days ? number(*i.median_days) : Json(nullptr)},
          {"eyes", i.eyes},
          {"measured", i.rotations_deg.size()},
          {"absolute_deg",
           {{"mean", number(i.mean_absolute_deg)},
            {"sd", number(i.sd_absolute_deg)},
            {"median", number(i.median_absolute_deg)},
            {"max", number(i.max_absolute_deg)}}},
          {"signed_deg", {{"mean", estimate(i.mean_signed)}, {"sd", number(i.sd_signed_deg)}}},
          {"within", std::move(within)},
          {"direction",
           {{"counter_clockwise", i.counter_clockwise},
            {"clockwise", i.clockwise},
            {"undecided", i.undecided},
            {"counter_clockwise_percent", estimate(i.counter_clockwise_share, 100)}}},
          {"rotations_deg", std::move(rotations)}};
}

Json criterion_of(const study::Criterion& c) {
  Json demands = Json::array();
  for (const auto& d : c.demands)
    demands.push_back({{"bound_deg", d.bound_deg},
                       {"bound_itself_passes", d.bound_itself_passes},
                       {"required_percent", number(100 * d.required)},
                       {"eyes", d.eyes},
                       {"passing", d.passing},
                       {"percent", estimate(d.share, 100)}});
  return {{"name", c.name},
          {"criterion", c.text},
          {"over", c.over},
          {"eyes_without", c.without},
          {"demands", std::move(demands)},
          {"verdict", c.verdict}};
}

Json points_of(const std::vector<study::AgreementPoint>& points) {
  Json out = Json::array();
  for (const auto& p : points)
    out.push_back({{"id", p.id},
                   {"mean_deg", number(p.mean_deg)},
                   {"difference_deg", number(p.difference_deg)}});
  return out;
}

Json agreement_of(const study::Agreement& a) {
  Json limits = nullptr;
  if (a.limits)
    limits = {{"n", a.limits->n},
              {"sd_deg", number(a.limits->sd)},
              {"bias_deg", estimate(a.limits->bias)},
              {"lower_limit_deg", estimate(a.limits->lower_limit)},
              {"upper_limit_deg", estimate(a.limits->upper_limit)}};
  return {{"reader", a.reader},
          {"of", a.is_drift ? "drift" : "axis"},
          {"visit", a.visit},
          {"limits", std::move(limits)},
          {"points", points_of(a.points)}};
}

}  // namespace

Json study_value(const Study& study, const outcome::RunRecord& run) {
  Json root;
  root["schema_version"] = outcome::schema_version;
  root["program"] = "rhumb";
  root["caution"] = outcome::caution;
  root["kind"] = "study";
  std::size_t failed = 0;
  for (const auto& eye : study.eyes) failed += eye.failure.empty() ? 0U : 1U;
  root["eyes_in_table"] = study.eyes.size();
  root["eyes_failed"] = failed;
  root["visits_after_first"] = study.visits_after_first;
  root["rotations"] = study.rotations;
  root["eyes"] = Json::array();
  for (std::size_t i = 0; i < study.eyes.size(); ++i)
    root["eyes"].push_back({{"id", study.eyes[i].id},
                            {"eye", text_or_null(study.eyes[i].eye)},
                            {"line", study.table.eyes[i].line},
                            {"results", "eyes/" + study.table.eyes[i].folder},
                            {"failure", text_or_null(study.eyes[i].failure)},
                            {"visits", visits_of(study.eyes[i], study.table.eyes[i])}});
  root["intervals"] = Json::array();
  for (const auto& i : study.intervals) root["intervals"].push_back(interval_of(i));
  root["criteria"] = Json::array();
  for (const auto& c : study.criteria) root["criteria"].push_back(criterion_of(c));
  root["agreement"] = Json::array();
  for (const auto& a : study.agreement) root["agreement"].push_back(agreement_of(a));
  Json repeat = {{"visits", study.repeats.visits}, {"photographs", study.repeats.photographs}};
  repeat["within_visit_sd_deg"] = estimate(
      study.repeats.result ? std::optional(study.repeats.result->within_sd) : std::nullopt);
  repeat["coefficient_deg"] = estimate(
      study.repeats.result ? std::optional(study.repeats.result->coefficient) : std::nullopt);
  repeat["points"] = points_of(study.repeats.points);
  root["repeatability"] = std::move(repeat);
  Json libraries = Json::object();
  for (const auto& [name, version] : run.libraries) libraries[name] = version;
  root["run"] = {{"version", run.program_version},
                 {"commit", run.commit},
                 {"libraries", std::move(libraries)},
                 {"table_sha256", run.case_sha256}};
  return root;
}

std::string study_json(const Study& study, const outcome::RunRecord& run) {
  return study_value(study, run).dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

void write_study(const Study& study, const outcome::RunRecord& run,
                 const std::filesystem::path& folder) {
  files::StagedFolder staged(folder);
  staged.begin();
  const auto write = [&](const char* name, const std::string& text) {
    files::write_whole(staged.staging() / name, text);
  };
  write("study.csv", study_csv(study));
  write("intervals.csv", intervals_csv(study));
  write("photographs.csv", photographs_csv(study));
  write("agreement.csv", agreement_csv(study));
  write("columns.csv", study_columns_csv(study));
  write("study.html", study_page(study, run));
  write("study.json", study_json(study, run));
  staged.commit({"study.csv", "intervals.csv", "photographs.csv", "agreement.csv", "columns.csv",
                 "study.html", "study.json"},
                "study.json");
}

}  // namespace rhumb::report
