#include "grade/comparison.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>

#include "files/user_error.h"
#include "statistics/mixed.h"

namespace rhumb::grade {
namespace {

constexpr std::size_t most_groups = 20;
using Cases = std::vector<const GradedCase*>;

std::optional<double> number_of(const std::string& text) {
  double value = 0.0;
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  if (error != std::errc() || stop != end || !std::isfinite(value)) return std::nullopt;
  return value;
}

// Columns of the table that the rubric asks to adjust for.
std::vector<std::size_t> asked_columns(const std::vector<std::string>& covariates,
                                       const Rubric& rubric) {
  std::vector<std::size_t> columns;
  for (const std::string& name : rubric.comparison.adjust_for) {
    const auto at = std::find(covariates.begin(), covariates.end(), name);
    if (at == covariates.end()) {
      throw UserError(rubric.file, "comparison.adjust_for",
                      fmt::format("the cohort table has no further column '{}'", name),
                      "name a column of the table or drop it");
    }
    columns.push_back(static_cast<std::size_t>(at - covariates.begin()));
  }
  return columns;
}

struct Design {
  std::vector<std::string> names;
  std::vector<std::vector<double>> columns;
};

void add_groups(const Cases& cases, const std::string& name, std::size_t column,
                const Rubric& rubric, Design& design) {
  std::map<std::string, std::size_t> count;
  for (const GradedCase* c : cases) ++count[c->row.covariates[column]];
  if (count.size() > most_groups) {
    throw UserError(rubric.file, "comparison.adjust_for",
                    fmt::format("column '{}' has {} different texts", name, count.size()),
                    fmt::format("use a column of numbers or of up to {} groups", most_groups));
  }
  // Against the most frequent group, the first by name where several are.
  const auto base = std::max_element(
      count.begin(), count.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  for (const auto& [group, n] : count) {
    if (group == base->first) continue;
    design.names.push_back(fmt::format("{} = {}", name, one_line(group, 60)));
    std::vector<double> values;
    for (const GradedCase* c : cases) {
      values.push_back(c->row.covariates[column] == group ? 1.0 : 0.0);
    }
    design.columns.push_back(std::move(values));
  }
}

Design design_of(const Cases& cases, const std::vector<std::string>& covariates,
                 const std::vector<std::size_t>& asked, const Rubric& rubric) {
  Design design;
  for (const std::size_t column : asked) {
    std::vector<double> values;
    for (const GradedCase* c : cases) {
      const auto value = number_of(c->row.covariates[column]);
      if (!value) break;
      values.push_back(*value);
    }
    if (values.size() != cases.size()) {
      add_groups(cases, covariates[column], column, rubric, design);
    } else {
      design.names.push_back(covariates[column]);
      design.columns.push_back(std::move(values));
    }
  }
  return design;
}

bool takes_part(const GradedCase& c, const std::vector<std::size_t>& asked) {
  if (!c.graded() || c.reading.operator_code.empty()) return false;
  return std::none_of(asked.begin(), asked.end(),
                      [&](std::size_t i) { return c.row.covariates[i].empty(); });
}

statistics::Estimate in_degrees(const statistics::Estimate& e, Scale scale) {
  const auto back = [scale](double v) {
    const double not_below = std::max(0.0, v);
    return scale == Scale::SquareRoot ? not_below * not_below : not_below;
  };
  return {back(e.value), back(e.low), back(e.high)};
}

Standing standing_of(const statistics::Estimate& effect) {
  if (effect.high < 0.0) return Standing::Smaller;
  if (effect.low > 0.0) return Standing::Larger;
  return Standing::NoClearDifference;
}

void report(const statistics::MixedModel& model, const Rubric& rubric, Comparison& into) {
  into.between_sd = model.tau;
  into.within_sd = model.sigma;
  into.programme_deg = in_degrees(model.mean, rubric.comparison.scale);
  const auto least = static_cast<std::size_t>(rubric.comparison.minimum_cases);
  for (std::size_t g = 0; g < model.groups.size(); ++g) {
    OperatorComparison& one = into.operators_compared[g];
    if (one.graded < least) {
      one.note = fmt::format("{} of the {} cases that a comparison needs", one.graded, least);
      continue;
    }
    one.standing = standing_of(model.groups[g].effect);
    one.typical_deg = in_degrees(model.groups[g].level, rubric.comparison.scale);
  }
}

}  // namespace

const char* name_of(Standing standing) {
  switch (standing) {
    case Standing::NotCompared:
      return "not compared";
    case Standing::NoClearDifference:
      return "no clear difference";
    case Standing::Smaller:
      return "smaller deviations";
    case Standing::Larger:
      break;
  }
  return "larger deviations";
}

Comparison compare_operators(const std::vector<GradedCase>& cases,
                             const std::vector<std::string>& covariates, const Rubric& rubric) {
  const auto asked = asked_columns(covariates, rubric);
  Comparison result;
  Cases used;
  std::map<std::string, std::size_t> groups;
  for (const GradedCase& c : cases) {
    if (takes_part(c, asked)) {
      used.push_back(&c);
      ++groups[c.reading.operator_code];
    } else if (c.graded()) {
      ++result.left_out;
    }
  }
  result.cases = used.size();
  result.operators = groups.size();
  statistics::MixedData data;
  data.groups = groups.size();
  for (auto& [code, n] : groups) {
    result.operators_compared.push_back({code, n, Standing::NotCompared, {}, {}});
    n = result.operators_compared.size() - 1;  // from here on the group's index
  }
  Design design = design_of(used, covariates, asked, rubric);
  for (const GradedCase* c : used) {
    const double size = c->absolute_deg();
    data.y.push_back(rubric.comparison.scale == Scale::SquareRoot ? std::sqrt(size) : size);
    data.group.push_back(groups[c->reading.operator_code]);
  }
  data.covariates = std::move(design.columns);
  if (data.groups < 3) {
    result.why_not = "a comparison needs graded cases of three operators or more";
  } else if (const auto model = statistics::fit_mixed_model(data)) {
    report(*model, rubric, result);
    for (std::size_t i = 0; i < design.names.size(); ++i) {
      result.adjustments.push_back({design.names[i], model->coefficients[i + 1]});
    }
  } else {
    result.why_not = "the model cannot be fitted: too few cases, or columns that say the same";
  }
  if (!result.why_not.empty()) {
    for (auto& one : result.operators_compared) one.note = result.why_not;
  }
  return result;
}

}  // namespace rhumb::grade
