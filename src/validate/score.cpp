#include "validate/score.h"

#include <algorithm>
#include <cmath>
#include <map>

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

// 0 at the stated axis, 1 and -1 at the interval's ends; far out where the interval has no width.
double place_in(const outcome::Interval& interval, double axis_rad) {
  const double off = angle::wrap_deviation(axis_rad - interval.value_rad);
  const double side =
      off >= 0.0 ? interval.high_rad - interval.value_rad : interval.value_rad - interval.low_rad;
  if (off == 0.0) return 0.0;
  return std::clamp(off / std::max(side, 1e-9), -1e6, 1e6);
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
    if (s.worst_frame < 0 || std::abs(error) > std::abs(s.worst_error_deg)) {
      s.worst_frame = static_cast<int>(t.frame);
      s.worst_error_deg = error;
      s.worst_axis_deg = deg_from_rad(angle::wrap_axis(row.axis->value_rad));
    }
  }
  ++s.intervals;
  if (holds(*row.axis, *t.axis_rad)) ++s.covered;
  s.place.push_back(place_in(*row.axis, *t.axis_rad));
  if (std::abs(error) <= deg_from_rad(row.half_width_50_rad)) ++s.covered_half;
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

// What the program says of the frames that it ought to have read and gave no axis for.
void score_silence(ClipScore& s, const outcome::CaseOutcome& outcome,
                   const std::vector<render::TruthRow>& truth, const ScoreRules& rules) {
  std::map<std::string, int> reasons;
  std::vector<int> silent;
  for (const outcome::TimelineRow& row : outcome.rows) {
    if (row.axis || row.frame < 0 || row.frame >= static_cast<std::int64_t>(truth.size())) continue;
    const render::TruthRow& t = truth[static_cast<std::size_t>(row.frame)];
    if (!t.axis_rad || t.readable() < rules.readable) continue;
    ++reasons[row.why_not];
    silent.push_back(static_cast<int>(row.frame));
  }
  for (const auto& [reason, frames] : reasons)
    if (frames > s.why_not_frames) s.why_not = reason, s.why_not_frames = frames;
  if (2 * s.given < s.readable && !silent.empty()) {
    s.worst_frame = silent[silent.size() / 2];
    s.worst_axis_deg.reset();
  }
}

void score_final(ClipScore& s, const outcome::CaseOutcome& outcome,
                 const std::vector<render::TruthRow>& truth, const ScoreRules& rules) {
  const bool ends_in_eye = !truth.empty() && truth.back().axis_rad && !truth.back().previous;
  for (const render::TruthRow& t : truth)
    s.final_measurable = s.final_measurable || (ends_in_eye && !t.moving && t.readable() >= 0.3 &&
                                                t.time_s >= truth.back().time_s - 1.0);
  s.final_given = outcome.final.has_value();
  if (!s.final_given) return;
  if (!ends_in_eye) {
    s.final_false = true;
    return;
  }
  const outcome::Interval& axis = outcome.final->axis;
  const double error =
      std::abs(deg_from_rad(angle::wrap_deviation(axis.value_rad - *truth.back().axis_rad)));
  s.final_error_deg = error;
  s.final_covered = holds(axis, *truth.back().axis_rad);
  s.final_false = error > rules.sure_off_deg &&
                  deg_from_rad(0.5 * (axis.high_rad - axis.low_rad)) < rules.sure_half_deg;
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
  score_silence(s, outcome, truth, rules);
  score_final(s, outcome, truth, rules);
  return s;
}

}  // namespace rhumb::validate
