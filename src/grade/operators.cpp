#include "grade/operators.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "statistics/axial.h"
#include "statistics/proportion.h"

namespace rhumb::grade {
namespace {

using angle::deg_from_rad;
using angle::rad_from_deg;
using Cases = std::vector<const GradedCase*>;

struct SignedMean {
  std::optional<double> mean_deg, sd_deg;
  std::optional<Estimate> interval_deg;
};

SignedMean signed_mean(const std::vector<double>& deviations_deg) {
  std::vector<double> rad;
  rad.reserve(deviations_deg.size());
  for (const double d : deviations_deg) rad.push_back(rad_from_deg(d));
  const auto mean = statistics::axial_mean(rad);
  if (!mean) return {};
  SignedMean result{deg_from_rad(mean->mean_rad), deg_from_rad(mean->circular_sd_rad), {}};
  if (const auto& i = mean->interval_rad) {
    result.interval_deg = {deg_from_rad(i->value), deg_from_rad(i->low), deg_from_rad(i->high)};
  }
  return result;
}

ThresholdShare share_within(const Cases& graded, double threshold) {
  ThresholdShare share;
  share.threshold_deg = threshold;
  for (const GradedCase* c : graded) {
    if (c->absolute_deg() <= threshold) ++share.within;
    const auto& over = c->straddles_deg;
    if (std::find(over.begin(), over.end(), threshold) != over.end()) ++share.straddling;
    share.expected_share += probability_within(*c->reading.deviation, threshold);
  }
  share.share = statistics::clopper_pearson(share.within, graded.size());
  if (!graded.empty()) share.expected_share /= static_cast<double>(graded.size());
  return share;
}

BudgetMean budget_mean(const Cases& graded, std::size_t part) {
  std::vector<double> values;
  for (const GradedCase* c : graded) {
    if (const auto& v = c->reading.budget[part]) values.push_back(v->value);
  }
  BudgetMean result;
  result.n = values.size();
  const SignedMean mean = signed_mean(values);
  result.mean_signed_deg = mean.mean_deg;
  result.signed_interval = mean.interval_deg;
  for (double& v : values) v = std::abs(v);
  if (!values.empty()) result.mean_absolute_deg = statistics::mean(values);
  return result;
}

std::optional<Estimate> not_below_zero(std::optional<Estimate> interval) {
  if (interval) interval->low = std::max(0.0, interval->low);
  return interval;
}

void add_learning(const Cases& graded, const Rubric& rubric, const CusumLimits& limits,
                  OperatorSummary& summary) {
  std::vector<double> sizes, numbers, failures;
  for (const GradedCase* c : graded) {
    sizes.push_back(c->absolute_deg());
    numbers.push_back(static_cast<double>(c->case_number));
    failures.push_back(c->failure_probability);
  }
  const auto path = statistics::cusum_path(failures, limits.design);
  const auto window = static_cast<std::size_t>(rubric.learning.window_cases);
  const auto least = static_cast<std::size_t>(rubric.learning.minimum_cases);
  for (std::size_t i = 0; i < graded.size(); ++i) {
    LearningPoint point{graded[i]->case_number, graded[i]->reading.date, sizes[i], {}, failures[i],
                        path.cumulative[i],     path.chart[i],           false};
    const std::size_t n = std::min(window, i + 1);
    if (n >= least) {
      point.running_mean =
          not_below_zero(statistics::mean_with_interval(std::span(sizes).subspan(i + 1 - n, n)));
    }
    summary.learning.push_back(point);
  }
  for (const std::size_t i : path.signals) summary.learning[i].signal = true;
  if (path.accepted) summary.cusum_accepted = graded[*path.accepted]->case_number;
  if (path.rejected) summary.cusum_rejected = graded[*path.rejected]->case_number;
  if (graded.size() < window) return;
  if (const auto line = statistics::fit_line(numbers, sizes)) {
    const Estimate& s = line->slope;
    summary.change_per_10_cases_deg = {10.0 * s.value, 10.0 * s.low, 10.0 * s.high};
  }
}

void add_dates(const Cases& cases, OperatorSummary& summary) {
  for (const GradedCase* c : cases) {
    const std::string& date = c->reading.date;
    if (date.empty()) continue;
    if (summary.first_date.empty() || date < summary.first_date) summary.first_date = date;
    summary.last_date = std::max(summary.last_date, date);
  }
}

}  // namespace

CusumLimits cusum_limits(const Rubric& rubric) {
  const auto& c = rubric.cusum;
  CusumLimits limits;
  // A checked rubric always gives a design.
  limits.design =
      statistics::cusum_design(c.acceptable_share, c.unacceptable_share, c.false_alarm, c.missed)
          .value();
  limits.false_alarm_by_horizon =
      statistics::signal_probability(limits.design, c.acceptable_share, limits.horizon_cases);
  limits.detected_by_horizon =
      statistics::signal_probability(limits.design, c.unacceptable_share, limits.horizon_cases);
  return limits;
}

OperatorSummary summarise(const std::string& code, Cases cases, const Rubric& rubric,
                          const CusumLimits& limits) {
  std::stable_sort(cases.begin(), cases.end(), [](const GradedCase* a, const GradedCase* b) {
    return a->case_number < b->case_number;
  });
  OperatorSummary summary;
  summary.code = code;
  summary.cases = cases.size();
  add_dates(cases, summary);
  Cases graded;
  std::copy_if(cases.begin(), cases.end(), std::back_inserter(graded),
               [](const GradedCase* c) { return c->graded(); });
  summary.graded = graded.size();
  summary.per_level.assign(rubric.levels.size(), 0);
  std::vector<double> signed_deg, sizes;
  for (const GradedCase* c : graded) {
    ++summary.per_level[*c->level];
    signed_deg.push_back(c->reading.deviation->value);
    sizes.push_back(c->absolute_deg());
  }
  if (!sizes.empty()) {
    summary.mean_absolute_deg = statistics::mean(sizes);
    summary.median_absolute_deg = statistics::median(sizes);
    summary.absolute_interval = not_below_zero(statistics::mean_with_interval(sizes));
  }
  const SignedMean mean = signed_mean(signed_deg);
  summary.mean_signed_deg = mean.mean_deg;
  summary.signed_interval = mean.interval_deg;
  if (graded.size() > 1) summary.signed_sd_deg = mean.sd_deg;
  for (const double t : rubric.thresholds_deg()) summary.shares.push_back(share_within(graded, t));
  for (std::size_t i = 0; i < budget_parts; ++i) summary.budget[i] = budget_mean(graded, i);
  add_learning(graded, rubric, limits, summary);
  return summary;
}

}  // namespace rhumb::grade
