// One clip's outcome against its truth.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "outcome/outcome.h"
#include "render/truth.h"

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
  std::string group;
  std::string unit;
  double level = 0.0;
  std::uint64_t seed = 0;
  int frames = 0;
  int readable = 0;                // frames that ought to be read
  int given = 0;                   // of those, with an axis
  std::vector<double> errors_deg;  // signed, of the given ones
  std::vector<double> confidence;  // of every axis given while a lens was in the eye
  std::vector<int> within_1;       // 1 where that axis was within a degree, beside `confidence`
  std::vector<double> rotation_errors_deg;  // against truth, one constant a clip taken off
  int intervals = 0;                        // axes with interval while a lens was in the eye
  int covered = 0;                          // of those, intervals that hold the truth
  int sure_wrong = 0;
  int no_lens = 0;              // axes without a lens in the eye
  double half_width_deg = 0.0;  // median
  bool final_given = false;
  bool final_measurable = false;
  double final_error_deg = 0.0;
  bool final_covered = false;
  double seconds = 0.0;  // that the analysis took
};

ClipScore score(const outcome::CaseOutcome& outcome, const std::vector<render::TruthRow>& truth,
                const ScoreRules& rules);

double median(std::vector<double> values);  // 0 for none
double quantile(std::vector<double> values,
                double share);  // linear between order statistics; 0 for none

}  // namespace rhumb::validate
