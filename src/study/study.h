// Many eyes and visits to what a standard or a journal asks: rotation per interval, shares within
// bounds, criteria of rotational stability, agreement with people, repeatability. Degrees
// throughout, as the files have them; an eye is the unit, and an eye without a number is counted,
// not dropped.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "statistics/agreement.h"
#include "statistics/estimate.h"
#include "study/eye_result.h"
#include "study/table.h"

namespace rhumb::study {

inline constexpr std::array<double, 4> bounds_deg = {5.0, 10.0, 20.0, 30.0};

struct ShareWithin {
  double bound_deg = 0.0;
  std::size_t eyes = 0;                       // at most this far, either way
  std::optional<statistics::Estimate> share;  // Clopper and Pearson
};

// Rotation between two visits, over the eyes that have both.
struct Interval {
  std::string from, to;               // labels of visits
  bool since_first = false;           // else since the visit before
  std::size_t eyes = 0;               // that have both visits
  std::vector<double> rotations_deg;  // of the eyes with a number, counter-clockwise positive
  std::optional<double> median_days;
  double mean_absolute_deg = 0.0, sd_absolute_deg = 0.0, median_absolute_deg = 0.0,
         max_absolute_deg = 0.0;                    // NaN where there are too few
  std::optional<statistics::Estimate> mean_signed;  // Student's t
  double sd_signed_deg = 0.0;
  std::vector<ShareWithin> within;
  // Direction: eyes whose 95 % interval leaves out zero; the rest is undecided.
  std::size_t counter_clockwise = 0, clockwise = 0, undecided = 0;
  std::optional<statistics::Estimate> counter_clockwise_share;  // of those decided
};

// One demand of a standard: at least `required` of the eyes turn by less than (or at most) a bound.
struct Demand {
  double bound_deg = 0.0;
  bool bound_itself_passes = false;
  double required = 0.0;
  std::size_t eyes = 0, passing = 0;
  std::optional<statistics::Estimate> share;
};

struct Criterion {
  std::string name;
  std::string text;         // the criterion in words, and where it comes from
  std::string over;         // which rotations were taken
  std::size_t without = 0;  // eyes that lack such visits or their reading
  std::vector<Demand> demands;
  std::string verdict;  // one plain sentence
};

struct AgreementPoint {
  std::string id;
  double mean_deg = 0.0;
  double difference_deg = 0.0;  // program less reader, in (-90, 90]
};
struct Agreement {
  std::string reader;
  std::string column;
  std::string visit;
  bool is_drift = false;
  std::vector<AgreementPoint> points;
  std::optional<statistics::BlandAltman> limits;  // from three eyes on
};

// Visits with several photographs: each photograph's own axis, head tilt taken out, as a repeat.
struct Repeats {
  std::size_t visits = 0;
  std::size_t photographs = 0;
  std::optional<statistics::Repeatability> result;
  std::vector<AgreementPoint> points;  // a point a repeat: its visit's mean, difference from it
};

struct Study {
  Table table;
  std::vector<EyeResult> eyes;  // in the order of the table
  std::size_t rotations = 0;    // visits after the first with a number
  std::size_t visits_after_first = 0;
  std::vector<Interval> intervals;
  std::vector<Criterion> criteria;
  std::vector<Agreement> agreement;
  Repeats repeats;
};

// `eyes` in the order of the table's.
Study sum_up(Table table, std::vector<EyeResult> eyes);

// Parts of it.
std::vector<Interval> intervals_of(const std::vector<EyeResult>& eyes);
std::vector<Criterion> criteria_of(const Table& table, const std::vector<EyeResult>& eyes);
std::vector<Agreement> agreement_of(const Table& table, const std::vector<EyeResult>& eyes);
Repeats repeats_of(const std::vector<EyeResult>& eyes);

// In (-90, 90].
double wrapped_deg(double deg);

}  // namespace rhumb::study
