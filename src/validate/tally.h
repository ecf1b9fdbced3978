// Scores of clips put together by condition.
#pragma once

#include <string>
#include <vector>

#include "validate/score.h"

namespace rhumb::validate {

struct Tally {
  Condition condition;             // group "all" for everything
  std::vector<std::string> names;  // of the clips
  int clips = 0;
  int frames = 0;
  int readable = 0;
  int given = 0;
  double given_share = 0.0;       // of the readable frames
  double error_median_deg = 0.0;  // of the given ones among them, absolute
  double error_p95_deg = 0.0;
  double error_max_deg = 0.0;
  double within_1_share = 0.0;  // of the readable frames: given and within a degree
  int intervals = 0;
  double coverage = 0.0;           // of the 95 % intervals
  double coverage_half = 0.0;      // of the 50 % intervals inside them
  double half_width_deg = 0.0;     // median over clips
  double calibration_error = 0.0;  // expected, of `confidence`, over ten bins
  int sure_wrong = 0;
  int no_lens = 0;
  double rotation_median_deg = 0.0;
  double rotation_p95_deg = 0.0;
  int finals_measurable = 0;
  int finals_given = 0;  // of those
  double final_median_deg = 0.0;
  double final_max_deg = 0.0;
  int finals_covered = 0;
  int finals_false = 0;
};

struct CalibrationBin {
  double low = 0.0;
  double high = 0.0;
  int count = 0;
  double stated = 0.0;  // mean confidence
  double was = 0.0;     // share truly within a degree
};

// One tally a condition, groups in the order of first appearance and their levels from mild to hard
// as the suite orders them, and one over everything (group "all") at the end.
std::vector<Tally> tally(const std::vector<ClipScore>& scores);

// Ten equal bins of confidence, those without an axis left out.
std::vector<CalibrationBin> calibration(const std::vector<const ClipScore*>& scores);
// Mean distance between stated and true share over the bins, weighted by their counts (Naeini,
// Cooper and Hauskrecht, AAAI 2015: expected calibration error). 0 for none.
double expected_calibration_error(const std::vector<CalibrationBin>& bins);

// For each group of ordered levels the mildest level from which the program gives an axis in fewer
// than half of the frames that ought to be read.
struct Limit {
  std::string group;
  bool reached = false;
  std::string label;
  int clips = 0;
};
std::vector<Limit> limits(const std::vector<Tally>& tallies);

// The three clips that ended worst: no final axis although there was one to read, then by the error
// of the final axis, then by the 95th percentile of the frames' errors.
std::vector<const ClipScore*> worst_clips(const std::vector<ClipScore>& scores, std::size_t count);

}  // namespace rhumb::validate
