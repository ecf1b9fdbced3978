// One clip's outcome against its truth.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "outcome/outcome.h"
#include "render/truth.h"
#include "validate/condition.h"

namespace rhumb::validate {

// What counts as what; degrees because these are figures to be read.
struct ScoreRules {
  double readable = 0.5;       // truth's readability from which a frame ought to be read
  double sure_off_deg = 3.0;   // an axis so far off ...
  double sure_half_deg = 1.5;  // ... with a half-width under this is a confident wrong one
  double change_s = 0.5;       // about a change of lens either answer passes
};

struct ClipScore {
  std::string clip;
  std::vector<Condition> conditions;
  std::uint64_t seed = 0;
  int frames = 0;
  int readable = 0;                // frames that ought to be read
  int given = 0;                   // of those, with an axis
  std::vector<double> errors_deg;  // signed, of the given ones
  std::vector<double> confidence;  // of every axis given while a lens was in the eye
  std::vector<int> within_1;       // 1 where that axis was within a degree, beside `confidence`
  // Where the truth lies in the stated 95 % interval, beside `confidence`: 0 at the stated axis, -1
  // and 1 at the ends.
  std::vector<double> place;
  std::vector<double> rotation_errors_deg;  // against truth, one constant a clip taken off
  int intervals = 0;                        // axes with interval while a lens was in the eye
  int covered = 0;                          // of those, intervals that hold the truth
  int covered_half = 0;                     // the same for the 50 % interval
  int sure_wrong = 0;
  int no_lens = 0;              // axes without marks in the eye
  double half_width_deg = 0.0;  // median
  bool final_given = false;
  bool final_measurable = false;
  bool final_false = false;               // a final axis where there is none, or sure and wrong
  std::optional<double> final_error_deg;  // of a given one where there is a truth
  bool final_covered = false;
  double seconds = 0.0;  // that the analysis took
  // For the pages: the frame that is furthest off (or the middle one of those that ought to be read
  // and were not), what was said there, and what the program says of the frames without an axis.
  int worst_frame = -1;
  double worst_error_deg = 0.0;
  std::optional<double> worst_axis_deg;  // as stated there
  std::string why_not;                   // the most frequent reason
  int why_not_frames = 0;
};

ClipScore score(const outcome::CaseOutcome& outcome, const std::vector<render::TruthRow>& truth,
                const ScoreRules& rules);

double median(std::vector<double> values);  // 0 for none
double quantile(std::vector<double> values,
                double share);  // linear between order statistics; 0 for none

}  // namespace rhumb::validate
