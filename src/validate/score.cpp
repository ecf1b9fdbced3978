#include "validate/score.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::validate {

using angle::deg_from_rad;

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  const double at = share * static_cast<double>(values.size() - 1);
  const auto low = static_cast<std::size_t>(at);
  const std::size_t high = std::min(low + 1, values.size() - 1);
  return values[low] + (values[high] - values[low]) * (at - static_cast<double>(low));
}

double median(std::vector<double> values) { return quantile(std::move(values), 0.5); }

namespace {

bool holds(const outcome::Interval& interval, double axis_rad) {
  const double above_low = angle::wrap_axis(axis_rad - interval.low_rad);
  return interval.high_rad >= interval.low_rad &&
         above_low <= interval.high_rad - interval.low_rad + 1e-9;
}

// Frames so close to a lens's coming or going that either answer passes.
std::vector<bool> near_change(const std::vector<render::TruthRow>& truth, double window_s) {
  std::vector<bool> near(truth.size(), false);
  for (std::size_t i = 1; i < truth.size(); ++i) {
    if (truth[i].lens_in_eye == truth[i - 1].lens_in_eye &&
        truth[i].previous == truth[i - 1].previous)
      continue;
    for (std::size_t k = 0; k < truth.size(); ++k)
      if (std::abs(truth[k].time_s - truth[i].time_s) <= window_s) near[k] = true;
  }
  return near;
}

void score_frame(ClipScore& s, const outcome::TimelineRow& row, const render::TruthRow& t,
                 bool near, const ScoreRules& rules, std::vector<double>& half_widths) {
  const bool expected = t.axis_rad && t.readable() >= rules.readable;
  if (expected) ++s.readable;
  if (!row.axis) return;
  if (!t.axis_rad) {
    if (!near) ++s.no_lens;
    return;
  }
  const double error = deg_from_rad(angle::wrap_deviation(row.axis->value_rad - *t.axis_rad));
  const double half = deg_from_rad(0.5 * (row.axis->high_rad - row.axis->low_rad));
  if (expected) {
    ++s.given;
    s.errors_deg.push_back(error);
  }
  ++s.intervals;
  if (holds(*row.axis, *t.axis_rad)) ++s.covered;
  half_widths.push_back(half);
  s.confidence.push_back(row.confidence);
  s.within_1.push_back(std::abs(error) <= 1.0 ? 1 : 0);
  if (std::abs(error) > rules.sure_off_deg && half < rules.sure_half_deg) ++s.sure_wrong;
}

void score_rotation(ClipScore& s, const outcome::CaseOutcome& outcome,
                    const std::vector<render::TruthRow>& truth) {
  for (const outcome::TimelineRow& row : outcome.rows)
    if (row.eye_rotation_rad && row.frame >= 0 &&
        row.frame < static_cast<std::int64_t>(truth.size()))
      s.rotation_errors_deg.push_back(deg_from_rad(angle::wrap_rotation(
          *row.eye_rotation_rad - truth[static_cast<std::size_t>(row.frame)].eye_rotation_rad)));
  const double constant = median(s.rotation_errors_deg);
  for (double& e : s.rotation_errors_deg) e -= constant;
}

}  // namespace

ClipScore score(const outcome::CaseOutcome& outcome, const std::vector<render::TruthRow>& truth,
                const ScoreRules& rules) {
  ClipScore s;
  s.frames = static_cast<int>(truth.size());
  const std::vector<bool> near = near_change(truth, rules.change_s);
  std::vector<double> half_widths;
  std::vector<bool> seen(truth.size(), false);
  for (const outcome::TimelineRow& row : outcome.rows) {
    if (row.frame < 0 || row.frame >= static_cast<std::int64_t>(truth.size())) continue;
    const auto i = static_cast<std::size_t>(row.frame);
    if (seen[i]) continue;
    seen[i] = true;
    score_frame(s, row, truth[i], near[i], rules, half_widths);
  }
  // A frame without a row is a frame without an axis.
  for (std::size_t i = 0; i < truth.size(); ++i)
    if (!seen[i] && truth[i].axis_rad && truth[i].readable() >= rules.readable) ++s.readable;
  s.half_width_deg = median(half_widths);
  score_rotation(s, outcome, truth);
  const bool ends_in_eye = !truth.empty() && truth.back().axis_rad && !truth.back().previous;
  for (const render::TruthRow& t : truth)
    s.final_measurable = s.final_measurable || (ends_in_eye && !t.moving && t.readable() >= 0.3 &&
                                                t.time_s >= truth.back().time_s - 1.0);
  s.final_given = outcome.final.has_value();
  if (s.final_given && ends_in_eye) {
    s.final_error_deg = std::abs(deg_from_rad(
        angle::wrap_deviation(outcome.final->axis.value_rad - *truth.back().axis_rad)));
    s.final_covered = holds(outcome.final->axis, *truth.back().axis_rad);
  }
  return s;
}

}  // namespace rhumb::validate
