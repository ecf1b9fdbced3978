#include <set>

#include "grade/table_columns.h"

namespace rhumb::grade {
namespace {

using Text = std::function<std::string(const GradedCase&)>;

Text angle_part(std::optional<AngleDeg> CaseReading::*which, double AngleDeg::*part) {
  return [=](const GradedCase& c) {
    const auto& angle = c.reading.*which;
    return angle ? number_text((*angle).*part) : std::string();
  };
}

std::string list_of(const std::vector<double>& values) {
  std::string list;
  for (const double v : values) list += (list.empty() ? "" : " ") + threshold_name(v);
  return list;
}

void add_who(Columns<GradedCase>& columns) {
  columns.push_back({"row", "", "line of the cohort table",
                     [](const GradedCase& c) { return fmt::format("{}", c.row.line); }});
  columns.push_back({"case", "", "code of the case, as its outcome says",
                     [](const GradedCase& c) { return c.reading.case_id; }});
  columns.push_back({"outcome", "", "outcome folder or case file, as the cohort table has it",
                     [](const GradedCase& c) { return c.row.stated; }});
  columns.push_back({"page", "", "the case's own report, relative to this table",
                     [](const GradedCase& c) { return c.page; }});
  columns.push_back(
      {"operator", "", "code", [](const GradedCase& c) { return c.reading.operator_code; }});
  columns.push_back({"case_number", "",
                     "of the operator's cases, by date and then by row, all counted",
                     [](const GradedCase& c) { return fmt::format("{}", c.case_number); }});
  columns.push_back({"date", "", "ISO 8601", [](const GradedCase& c) { return c.reading.date; }});
  columns.push_back(
      {"supervisor", "", "code", [](const GradedCase& c) { return c.row.supervisor; }});
  columns.push_back(
      {"eye", "", "right or left", [](const GradedCase& c) { return c.reading.eye; }});
}

void add_angles(Columns<GradedCase>& columns) {
  const auto add = [&](const char* name, const char* meaning, Text text) {
    columns.push_back({name, "degree", meaning, std::move(text)});
  };
  add("planned_axis_deg", "planned axis of the lens marks",
      [](const GradedCase& c) { return number_text(c.reading.planned_deg); });
  add("axis_deg", "axis at the end of the case", angle_part(&CaseReading::axis, &AngleDeg::value));
  add("axis_low_deg", "95 % interval", angle_part(&CaseReading::axis, &AngleDeg::low));
  add("axis_high_deg", "95 % interval", angle_part(&CaseReading::axis, &AngleDeg::high));
  add("deviation_deg", "axis minus planned axis, counter-clockwise positive",
      angle_part(&CaseReading::deviation, &AngleDeg::value));
  add("deviation_low_deg", "95 % interval", angle_part(&CaseReading::deviation, &AngleDeg::low));
  add("deviation_high_deg", "95 % interval", angle_part(&CaseReading::deviation, &AngleDeg::high));
  add("absolute_deviation_deg", "size of the deviation, of graded cases", [](const GradedCase& c) {
    return c.graded() ? number_text(c.absolute_deg()) : std::string();
  });
}

void add_grade(const Rubric& rubric, Columns<GradedCase>& columns) {
  const std::vector<Level> levels = rubric.levels;
  columns.push_back(
      {"grade", "", "level of the rubric that holds the reading",
       [levels](const auto& c) { return c.graded() ? levels[*c.level].name : std::string(); }});
  columns.push_back({"straddles_deg", "degree", "thresholds inside the 95 % interval, where any",
                     [](const auto& c) { return list_of(c.straddles_deg); }});
  for (std::size_t i = 0; i < levels.size(); ++i) {
    columns.push_back({fmt::format("p_level_{}", i + 1), "0..1",
                       fmt::format("probability of level '{}' given the interval", levels[i].name),
                       [i](const auto& c) {
                         return c.graded() ? number_text(c.level_probability[i]) : std::string();
                       }});
  }
  columns.push_back({"tolerance_deg", "degree", "the case's own tolerance, where stated",
                     [](const auto& c) { return number_text(c.reading.tolerance_deg); }});
  columns.push_back({"p_within_tolerance", "0..1", "probability of lying within it",
                     [](const auto& c) { return number_text(c.within_own_tolerance); }});
  columns.push_back({"state", "", "graded, or the kind of reason why not; never a fail",
                     [](const auto& c) { return std::string(name_of(c.reading.not_graded)); }});
  columns.push_back(
      {"reason", "", "why it is not graded", [](const auto& c) { return c.reading.reason; }});
  columns.push_back({"look_at", "", "why the case is worth watching together",
                     [](const auto& c) { return c.look_at; }});
}

void add_rest(Columns<GradedCase>& columns) {
  columns.push_back({"confidence", "0..1", "that the axis is within 1 degree of the truth",
                     [](const auto& c) { return number_text(c.reading.confidence); }});
  columns.push_back(
      {"rests_on_anchor", "", "yes where a person marked a frame by hand",
       [](const auto& c) { return std::string(c.reading.rests_on_anchor ? "yes" : "no"); }});
  for (std::size_t i = 0; i < budget_parts; ++i) {
    columns.push_back({fmt::format("{}_deg", name_of(static_cast<BudgetPart>(i))), "degree",
                       "part of the deviation, where the recording supports it",
                       [i](const auto& c) {
                         const auto& part = c.reading.budget[i];
                         return part ? number_text(part->value) : std::string();
                       }});
  }
  columns.push_back({"program_version", "", "that analysed the case",
                     [](const auto& c) { return c.reading.program_version; }});
}

}  // namespace

std::string threshold_name(double threshold_deg) {
  return fmt::format("{}", rounded(threshold_deg));
}

Columns<GradedCase> case_columns(const Programme& programme) {
  Columns<GradedCase> columns;
  add_who(columns);
  add_angles(columns);
  add_grade(programme.rubric, columns);
  add_rest(columns);
  std::set<std::string> taken;
  for (const auto& c : columns) taken.insert(c.name);
  for (std::size_t i = 0; i < programme.covariates.size(); ++i) {
    std::string name = programme.covariates[i];
    while (!taken.insert(name).second) name.insert(0, "table_");
    columns.push_back({name, "", "further column of the cohort table",
                       [i](const GradedCase& c) { return c.row.covariates[i]; }});
  }
  return columns;
}

}  // namespace rhumb::grade
