#include "validate/tables.h"

#include <fmt/core.h>

#include <cmath>

#include "files/csv_field.h"

namespace rhumb::validate {

std::string clips_csv(const std::vector<ClipScore>& scores) {
  std::string t =
      "clip,seed,conditions,frames,readable_frames,given_frames,error_median_deg,error_p95_deg,"
      "intervals,covered,covered_half,half_width_deg,sure_wrong,axes_without_marks,final_given,"
      "final_measurable,final_error_deg,final_covered,final_false,rotation_median_deg,analysis_s\n";
  for (const ClipScore& s : scores) {
    std::vector<double> errors;
    std::vector<double> rotations;
    for (const double e : s.errors_deg) errors.push_back(std::abs(e));
    for (const double e : s.rotation_errors_deg) rotations.push_back(std::abs(e));
    std::string conditions;
    for (const Condition& c : s.conditions)
      conditions += fmt::format("{}{}: {}", conditions.empty() ? "" : "; ", c.group, c.label);
    t += fmt::format("{},{},{},{},{},{},", files::csv_field(s.clip), s.seed,
                     files::csv_field(conditions), s.frames, s.readable, s.given);
    t += errors.empty() ? ",,"
                        : fmt::format("{:.4f},{:.4f},", median(errors), quantile(errors, 0.95));
    t += fmt::format("{},{},{},{:.4f},{},{},{},{},{},{},{},{:.4f},{:.2f}\n", s.intervals, s.covered,
                     s.covered_half, s.half_width_deg, s.sure_wrong, s.no_lens,
                     s.final_given ? 1 : 0, s.final_measurable ? 1 : 0,
                     s.final_error_deg ? fmt::format("{:.4f}", *s.final_error_deg) : "",
                     s.final_error_deg ? (s.final_covered ? "1" : "0") : "", s.final_false ? 1 : 0,
                     median(rotations), s.seconds);
  }
  return t;
}

std::string conditions_csv(const std::vector<Tally>& tallies) {
  std::string t =
      "group,level,clips,frames,readable_frames,given_share,error_median_deg,error_p95_deg,"
      "error_max_deg,within_1_share,intervals,coverage_95,coverage_50,half_width_deg,"
      "expected_calibration_error,sure_wrong,axes_without_marks,rotation_median_deg,rotation_p95_"
      "deg,"
      "finals_measurable,finals_given,final_median_deg,final_max_deg,finals_covered,finals_false\n";
  for (const Tally& a : tallies)
    t += fmt::format(
        "{},{},{},{},{},{:.4f},{:.4f},{:.4f},{:.4f},{:.4f},{},{:.4f},{:.4f},{:.4f},{:.4f},{},{},"
        "{:.4f},{:.4f},{},{},{:.4f},{:.4f},{},{}\n",
        a.condition.group, a.condition.label, a.clips, a.frames, a.readable, a.given_share,
        a.error_median_deg, a.error_p95_deg, a.error_max_deg, a.within_1_share, a.intervals,
        a.coverage, a.coverage_half, a.half_width_deg, a.calibration_error, a.sure_wrong, a.no_lens,
        a.rotation_median_deg, a.rotation_p95_deg, a.finals_measurable, a.finals_given,
        a.final_median_deg, a.final_max_deg, a.finals_covered, a.finals_false);
  return t;
}

std::string calibration_csv(const std::vector<CalibrationBin>& bins) {
  std::string t = "confidence_low,confidence_high,axes,mean_confidence,share_within_1_deg\n";
  for (const CalibrationBin& b : bins)
    t += fmt::format("{:g},{:g},{},{:.4f},{:.4f}\n", b.low, b.high, b.count, b.stated, b.was);
  return t;
}

}  // namespace rhumb::validate
