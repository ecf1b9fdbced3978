#include "grade/grade_json.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "grade/tables.h"
#include "outcome/caution.h"

namespace rhumb::grade {
namespace {

using Json = nlohmann::ordered_json;
using statistics::Estimate;

Json number(double v) { return std::isfinite(v) ? Json(rounded(v)) : Json(nullptr); }
Json number(const std::optional<double>& v) { return v ? number(*v) : Json(nullptr); }
Json count(const std::optional<std::size_t>& v) { return v ? Json(*v) : Json(nullptr); }
Json text(const std::string& t) { return t.empty() ? Json(nullptr) : Json(t); }

Json estimate(const std::optional<Estimate>& e) {
  if (!e) return nullptr;
  return {{"value", number(e->value)}, {"low", number(e->low)}, {"high", number(e->high)}};
}

Json angle(const std::optional<AngleDeg>& a) {
  if (!a) return nullptr;
  return {{"value", number(a->value)}, {"low", number(a->low)}, {"high", number(a->high)}};
}

Json numbers(const std::vector<double>& values) {
  Json list = Json::array();
  for (const double v : values) list.push_back(number(v));
  return list;
}

Json rubric_value(const Rubric& rubric) {
  Json levels = Json::array();
  for (const Level& l : rubric.levels) {
    levels.push_back(
        {{"name", l.name}, {"at_most_deg", number(l.at_most_deg)}, {"source", l.source}});
  }
  const auto& c = rubric.comparison;
  return {{"name", rubric.name},
          {"version", rubric.version},
          {"file", std::filesystem::path(rubric.file).filename().string()},
          {"levels", levels},
          {"widest_interval_deg", number(rubric.widest_interval_deg)},
          {"cusum",
           {{"failure_beyond_deg", number(rubric.cusum.failure_beyond_deg)},
            {"acceptable_share", number(rubric.cusum.acceptable_share)},
            {"unacceptable_share", number(rubric.cusum.unacceptable_share)},
            {"false_alarm", number(rubric.cusum.false_alarm)},
            {"missed", number(rubric.cusum.missed)}}},
          {"learning",
           {{"window_cases", rubric.learning.window_cases},
            {"minimum_cases", rubric.learning.minimum_cases}}},
          {"comparison",
           {{"minimum_cases", c.minimum_cases},
            {"scale", c.scale == Scale::SquareRoot ? "square-root" : "degrees"},
            {"adjust_for", c.adjust_for}}},
          {"outlier",
           {{"beyond_deg", number(rubric.outlier.beyond_deg)},
            {"robust_z", number(rubric.outlier.robust_z)}}}};
}

Json limits_value(const CusumLimits& limits) {
  return {{"step", number(limits.design.step)},
          {"upper_limit", number(limits.design.upper_limit)},
          {"lower_limit", number(limits.design.lower_limit)},
          {"horizon_cases", limits.horizon_cases},
          {"signal_by_horizon_at_acceptable_share", number(limits.false_alarm_by_horizon)},
          {"signal_by_horizon_at_unacceptable_share", number(limits.detected_by_horizon)}};
}

Json case_value(const GradedCase& c, const Rubric& rubric, const std::vector<std::string>& names) {
  const CaseReading& r = c.reading;
  Json budget = Json::object();
  for (std::size_t i = 0; i < budget_parts; ++i) {
    budget[name_of(static_cast<BudgetPart>(i))] = angle(r.budget[i]);
  }
  Json covariates = Json::object();
  for (std::size_t i = 0; i < names.size(); ++i) covariates[names[i]] = c.row.covariates[i];
  return {{"row", c.row.line},
          {"case", text(r.case_id)},
          {"outcome", c.row.stated},
          {"page", text(c.page)},
          {"operator", text(r.operator_code)},
          {"case_number", c.case_number},
          {"date", text(r.date)},
          {"supervisor", text(c.row.supervisor)},
          {"eye", text(r.eye)},
          {"planned_axis_deg", number(r.planned_deg)},
          {"axis_deg", angle(r.axis)},
          {"deviation_deg", angle(r.deviation)},
          {"state", name_of(r.not_graded)},
          {"reason", text(r.reason)},
          {"level", count(c.level)},
          {"grade", c.graded() ? Json(rubric.levels[*c.level].name) : Json(nullptr)},
          {"straddles_deg", numbers(c.straddles_deg)},
          {"level_probability", numbers(c.level_probability)},
          {"tolerance_deg", number(r.tolerance_deg)},
          {"within_tolerance_probability", number(c.within_own_tolerance)},
          {"look_at", text(c.look_at)},
          {"confidence", number(r.confidence)},
          {"rests_on_anchor", r.rests_on_anchor},
          {"error_budget", budget},
          {"covariates", covariates},
          {"program_version", text(r.program_version)}};
}

Json shares_value(const std::vector<ThresholdShare>& shares) {
  Json list = Json::array();
  for (const auto& s : shares) {
    list.push_back({{"threshold_deg", number(s.threshold_deg)},
                    {"within", s.within},
                    {"straddling", s.straddling},
                    {"share", estimate(s.share)},
                    {"expected_share", s.share ? number(s.expected_share) : Json(nullptr)}});
  }
  return list;
}

Json learning_value(const std::vector<LearningPoint>& points) {
  Json list = Json::array();
  for (const auto& p : points) {
    list.push_back({{"case_number", p.case_number},
                    {"date", text(p.date)},
                    {"absolute_deg", number(p.absolute_deg)},
                    {"running_mean_deg", estimate(p.running_mean)},
                    {"failure_probability", number(p.failure)},
                    {"cusum_sum", number(p.cumulative)},
                    {"cusum_chart", number(p.chart)},
                    {"cusum_signal", p.signal}});
  }
  return list;
}

Json summary_value(const OperatorSummary& s) {
  Json budget = Json::object();
  for (std::size_t i = 0; i < budget_parts; ++i) {
    const BudgetMean& b = s.budget[i];
    budget[name_of(static_cast<BudgetPart>(i))] = {
        {"cases", b.n},
        {"mean_signed_deg", number(b.mean_signed_deg)},
        {"mean_signed_interval_deg", estimate(b.signed_interval)},
        {"mean_absolute_deg", number(b.mean_absolute_deg)}};
  }
  return {{"operator", text(s.code)},
          {"cases", s.cases},
          {"graded", s.graded},
          {"first_date", text(s.first_date)},
          {"last_date", text(s.last_date)},
          {"per_level", s.per_level},
          {"mean_absolute_deg", number(s.mean_absolute_deg)},
          {"mean_absolute_interval_deg", estimate(s.absolute_interval)},
          {"median_absolute_deg", number(s.median_absolute_deg)},
          {"mean_signed_deg", number(s.mean_signed_deg)},
          {"mean_signed_interval_deg", estimate(s.signed_interval)},
          {"sd_signed_deg", number(s.signed_sd_deg)},
          {"shares", shares_value(s.shares)},
          {"error_budget", budget},
          {"change_per_10_cases_deg", estimate(s.change_per_10_cases_deg)},
          {"acceptable_from_case", count(s.cusum_accepted)},
          {"unacceptable_from_case", count(s.cusum_rejected)},
          {"learning", learning_value(s.learning)}};
}

Json comparison_value(const Comparison& c) {
  Json adjustments = Json::array();
  for (const auto& a : c.adjustments) {
    adjustments.push_back({{"name", a.name}, {"estimate", estimate(a.estimate)}});
  }
  Json operators = Json::array();
  for (const auto& o : c.operators_compared) {
    operators.push_back({{"operator", o.code},
                         {"graded", o.graded},
                         {"against_programme", name_of(o.standing)},
                         {"typical_deg", estimate(o.typical_deg)},
                         {"note", text(o.note)}});
  }
  return {{"why_not", text(c.why_not)},
          {"operators_in_model", c.operators},
          {"cases_in_model", c.cases},
          {"cases_left_out", c.left_out},
          {"between_operators_sd", number(c.between_sd)},
          {"within_operators_sd", number(c.within_sd)},
          {"programme_typical_deg", estimate(c.programme_deg)},
          {"adjustments", adjustments},
          {"operators", operators}};
}

Json pair_value(const PairAgreement& pair) {
  Json points = Json::array();
  for (const auto& p : pair.pairs) {
    points.push_back({{"case", p.case_id},
                      {"mean_axis_deg", number(p.mean_axis_deg)},
                      {"difference_deg", number(p.difference_deg)}});
  }
  Json limits = nullptr;
  if (const auto& l = pair.limits) {
    limits = {{"n", l->n},
              {"sd_deg", number(l->sd)},
              {"bias_deg", estimate(l->bias)},
              {"lower_limit_deg", estimate(l->lower_limit)},
              {"upper_limit_deg", estimate(l->upper_limit)}};
  }
  return {{"first", pair.first}, {"second", pair.second}, {"limits", limits}, {"points", points}};
}

Json group_value(const GroupAgreement& group) {
  Json icc = nullptr;
  if (const auto& i = group.icc) {
    icc = {{"ICC(1,1)", estimate(i->icc_1_1)}, {"ICC(2,1)", estimate(i->icc_2_1)},
           {"ICC(3,1)", estimate(i->icc_3_1)}, {"ICC(1,k)", estimate(i->icc_1_k)},
           {"ICC(2,k)", estimate(i->icc_2_k)}, {"ICC(3,k)", estimate(i->icc_3_k)}};
  }
  return {{"readers", group.readers}, {"cases", group.cases}, {"icc", icc}};
}

Json agreement_value(const std::optional<Agreement>& agreement) {
  if (!agreement) return nullptr;
  Json pairs = Json::array();
  Json groups = Json::array();
  Json repeats = Json::array();
  for (const auto& pair : agreement->pairs) pairs.push_back(pair_value(pair));
  for (const auto& group : agreement->groups) groups.push_back(group_value(group));
  for (const auto& r : agreement->repeatability) {
    Json value = {{"reader", r.reader},
                  {"cases", 0},
                  {"within_sd_deg", nullptr},
                  {"coefficient_deg", nullptr}};
    if (r.result) {
      value["cases"] = r.result->subjects;
      value["within_sd_deg"] = estimate(r.result->within_sd);
      value["coefficient_deg"] = estimate(r.result->coefficient);
    }
    repeats.push_back(std::move(value));
  }
  return {{"readings", agreement->readings},
          {"readings_of_unknown_cases", agreement->unmatched},
          {"pairs", pairs},
          {"intraclass_correlation_of_deviations", groups},
          {"repeatability", repeats}};
}

}  // namespace

std::string grade_json(const Programme& programme) {
  Json cases = Json::array();
  for (const GradedCase& c : programme.cases) {
    cases.push_back(case_value(c, programme.rubric, programme.covariates));
  }
  Json operators = Json::array();
  for (const OperatorSummary& s : programme.operators) operators.push_back(summary_value(s));
  const Json root = {{"schema_version", table_schema_version},
                     {"program", "rhumb"},
                     {"version", RHUMB_VERSION},
                     {"kind", "grade"},
                     {"caution", outcome::caution},
                     {"cohort", programme.cohort_file},
                     {"only_operator", text(programme.only_operator)},
                     {"rubric", rubric_value(programme.rubric)},
                     {"cusum_limits", limits_value(programme.limits)},
                     {"covariates", programme.covariates},
                     {"everyone", summary_value(programme.everyone)},
                     {"operators", operators},
                     {"comparison", comparison_value(programme.comparison)},
                     {"agreement", agreement_value(programme.agreement)},
                     {"cases", cases}};
  // Text that is not UTF-8 can come from a damaged outcome only through one_line, which drops it;
  // replace all the same rather than throw.
  return root.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace rhumb::grade
