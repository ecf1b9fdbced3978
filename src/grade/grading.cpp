#include "grade/grading.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "statistics/distributions.h"
#include "statistics/summary.h"

namespace rhumb::grade {
namespace {

constexpr double z95 = 1.959963984540054;
constexpr double half_turn_deg = 180.0;

double cumulative(const AngleDeg& a, double at) {
  const double sd = (at < a.value ? a.value - a.low : a.high - a.value) / z95;
  if (!(sd > 0.0)) return at < a.value ? 0.0 : 1.0;
  return statistics::normal_cdf((at - a.value) / sd);
}

bool inside(const AngleDeg& a, double at) { return a.low < at && at < a.high; }

bool straddles(const AngleDeg& deviation, double bound) {
  for (const double turn : {-half_turn_deg, 0.0, half_turn_deg}) {
    if (inside(deviation, bound + turn) || inside(deviation, -bound + turn)) return true;
  }
  return false;
}

void refuse_wide(GradedCase& graded, const Rubric& rubric) {
  const AngleDeg& d = *graded.reading.deviation;
  if (d.high - d.low <= rubric.widest_interval_deg) return;
  graded.reading.not_graded = NotGraded::IntervalTooWide;
  graded.reading.reason =
      fmt::format("the 95 % interval is {:.1f} degrees wide, the rubric allows {:g}",
                  d.high - d.low, rubric.widest_interval_deg);
}

std::size_t level_of(const Rubric& rubric, double absolute) {
  std::size_t i = 0;
  while (rubric.levels[i].at_most_deg && absolute > *rubric.levels[i].at_most_deg) ++i;
  return i;
}

std::vector<double> level_probabilities(const Rubric& rubric, const AngleDeg& deviation) {
  std::vector<double> shares;
  double below = 0.0;
  for (const Level& level : rubric.levels) {
    const double up_to =
        level.at_most_deg ? probability_within(deviation, *level.at_most_deg) : 1.0;
    shares.push_back(std::max(0.0, up_to - below));
    below = up_to;
  }
  return shares;
}

}  // namespace

double probability_within(const AngleDeg& deviation, double bound_deg) {
  if (bound_deg >= half_turn_deg / 2.0) return 1.0;
  double share = 0.0;
  for (const double turn : {-half_turn_deg, 0.0, half_turn_deg}) {
    share += cumulative(deviation, turn + bound_deg) - cumulative(deviation, turn - bound_deg);
  }
  // A reading without an interval at exactly the bound lies within it.
  if (deviation.low == deviation.high) return std::abs(deviation.value) <= bound_deg ? 1.0 : 0.0;
  return std::clamp(share, 0.0, 1.0);
}

double GradedCase::absolute_deg() const { return std::abs(reading.deviation->value); }

GradedCase grade_case(CohortRow row, CaseReading reading, const Rubric& rubric) {
  GradedCase graded;
  graded.row = std::move(row);
  graded.reading = std::move(reading);
  if (!graded.row.operator_code.empty()) graded.reading.operator_code = graded.row.operator_code;
  if (!graded.row.date.empty()) graded.reading.date = graded.row.date;
  if (graded.reading.not_graded != NotGraded::No) return graded;
  refuse_wide(graded, rubric);
  if (graded.reading.not_graded != NotGraded::No) return graded;
  const AngleDeg& deviation = *graded.reading.deviation;
  graded.level = level_of(rubric, graded.absolute_deg());
  graded.level_probability = level_probabilities(rubric, deviation);
  for (const double bound : rubric.thresholds_deg()) {
    if (straddles(deviation, bound)) graded.straddles_deg.push_back(bound);
  }
  graded.failure_probability = 1.0 - probability_within(deviation, rubric.cusum.failure_beyond_deg);
  if (const auto own = graded.reading.tolerance_deg) {
    graded.within_own_tolerance = probability_within(deviation, *own);
  }
  return graded;
}

void number_cases(std::vector<GradedCase>& cases) {
  std::vector<std::size_t> order(cases.size());
  std::iota(order.begin(), order.end(), 0U);
  // Cases without a date keep their place in the table behind those with one.
  const auto key = [&](std::size_t i) {
    const std::string& date = cases[i].reading.date;
    return date.empty() ? std::string("9999-99-99") : date;
  };
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return key(a) < key(b); });
  std::map<std::string, std::size_t> count;
  for (const std::size_t i : order) cases[i].case_number = ++count[cases[i].reading.operator_code];
}

void mark_outliers(std::vector<GradedCase>& cases, const Rubric& rubric) {
  std::vector<double> signed_deg;
  for (const auto& c : cases) {
    if (c.graded()) signed_deg.push_back(c.reading.deviation->value);
  }
  const double centre = statistics::median(signed_deg);
  std::vector<double> away;
  away.reserve(signed_deg.size());
  for (const double d : signed_deg) away.push_back(std::abs(d - centre));
  const double mad = statistics::median(away);
  for (auto& c : cases) {
    if (!c.graded()) continue;
    const double z = 0.6745 * std::abs(c.reading.deviation->value - centre) / mad;
    if (c.absolute_deg() > rubric.outlier.beyond_deg) {
      c.look_at = fmt::format("beyond {:g} degrees", rubric.outlier.beyond_deg);
    } else if (mad > 0.0 && z > rubric.outlier.robust_z) {
      c.look_at = fmt::format("unlike the rest of the cohort (modified z score {:.1f})", z);
    }
  }
}

}  // namespace rhumb::grade
