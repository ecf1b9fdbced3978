// Scores of clips put together by condition.
#pragma once

#include <string>
#include <vector>

#include "validate/score.h"

namespace rhumb::validate {

struct Tally {
  std::string group;
  std::string unit;
  double level = 0.0;
  int clips = 0;
  int frames = 0;
  int readable = 0;
  int given = 0;
  double given_share = 0.0;       // of the readable frames
  double error_median_deg = 0.0;  // of the given ones among them, absolute
  double error_p95_deg = 0.0;
  double error_max_deg = 0.0;
  double within_1_share = 0.0;  // of the readable frames: given and within a degree
  double coverage = 0.0;        // of the 95 % intervals
  int intervals = 0;
  double half_width_deg = 0.0;  // median over clips
  int sure_wrong = 0;
  int no_lens = 0;
  double rotation_median_deg = 0.0;
  int finals_measurable = 0;
  int finals_given = 0;
  double final_median_deg = 0.0;
  double final_max_deg = 0.0;
  int finals_covered = 0;
};

struct CalibrationBin {
  double low = 0.0;
  double high = 0.0;
  int count = 0;
  double stated = 0.0;  // mean confidence
  double was = 0.0;     // share truly within a degree
};

// One tally a condition, groups and levels in the order of first appearance, and one over
// everything (group "all") at the end.
std::vector<Tally> tally(const std::vector<ClipScore>& scores);
std::vector<CalibrationBin> calibration(const std::vector<ClipScore>& scores);

// In words: for each group the level from which the program gives an axis in fewer than half of the
// frames that ought to be read.
struct Limit {
  std::string group;
  std::string unit;
  bool reached = false;
  double level = 0.0;
};
std::vector<Limit> limits(const std::vector<Tally>& tallies);

}  // namespace rhumb::validate
