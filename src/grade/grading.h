// From a reading and a rubric to a grade with its doubt.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "grade/cohort.h"
#include "grade/reading.h"
#include "grade/rubric.h"

namespace rhumb::grade {

// Probability that the size of a deviation is at most `bound_deg`, given the reading with its 95 %
// interval. The reading is taken as the median; each side is half a normal distribution that
// puts 2.5 % beyond the interval's end, so an uneven interval stays uneven. Deviations of axes
// repeat every 180 degrees.
double probability_within(const AngleDeg& deviation, double bound_deg);

struct GradedCase {
  CohortRow row;
  CaseReading reading;  // operator and date are those of the table where it states them
  std::string page;     // relative link to the case's own report, empty where there is none
  std::size_t case_number =
      0;  // of its operator, from 1, by date and then by row; every case counts
  std::optional<std::size_t> level;            // index into the rubric's levels
  std::vector<double> level_probability;       // one a level, empty where not graded
  std::vector<double> straddles_deg;           // thresholds inside the interval
  std::optional<double> within_own_tolerance;  // probability
  double failure_probability = 0.0;            // beyond the CUSUM's bound
  std::string look_at;                         // why this case is worth watching together, or empty

  bool graded() const { return level.has_value(); }
  double absolute_deg() const;  // of the deviation; only where graded
};

// Grades in place of the reading: sets level, probabilities, straddles and, where the interval is
// too wide, the reason.
GradedCase grade_case(CohortRow row, CaseReading reading, const Rubric& rubric);

// Numbers the cases of each operator and marks those to look at, over the whole cohort.
void number_cases(std::vector<GradedCase>& cases);
void mark_outliers(std::vector<GradedCase>& cases, const Rubric& rubric);

}  // namespace rhumb::grade
