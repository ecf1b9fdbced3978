// One operator's cases: how accurate, how certain, and how it went over time.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "grade/grading.h"
#include "statistics/cusum.h"
#include "statistics/estimate.h"
#include "statistics/summary.h"

namespace rhumb::grade {

using statistics::Estimate;

struct ThresholdShare {
  double threshold_deg = 0.0;
  std::size_t within = 0;         // by the reading itself
  std::size_t straddling = 0;     // of the graded cases, whose interval holds the threshold
  std::optional<Estimate> share;  // exact interval (Clopper-Pearson)
  double expected_share = 0.0;    // mean probability, which counts straddling cases in part
};

struct BudgetMean {
  std::size_t n = 0;  // cases whose recording supports this part
  std::optional<double> mean_signed_deg;
  std::optional<Estimate> signed_interval;  // axial mean, from two cases on
  std::optional<double> mean_absolute_deg;
};

struct LearningPoint {
  std::size_t case_number = 0;
  std::string date;
  double absolute_deg = 0.0;
  std::optional<Estimate> running_mean;  // of the last graded cases, as the rubric sets the window
  double failure = 0.0;                  // probability of lying beyond the CUSUM's bound
  double cumulative = 0.0;               // the plain sum of the CUSUM
  double chart = 0.0;                    // its chart, never below 0
  bool signal = false;
};

struct OperatorSummary {
  std::string code;  // empty: cases whose operator nobody stated
  std::size_t cases = 0;
  std::size_t graded = 0;
  std::string first_date, last_date;
  std::vector<std::size_t> per_level;  // graded cases by level
  std::optional<double> mean_absolute_deg;
  std::optional<Estimate> absolute_interval;  // Student's t, its lower end not below 0
  std::optional<double> median_absolute_deg;
  std::optional<double> mean_signed_deg;  // axial mean
  std::optional<Estimate> signed_interval;
  std::optional<double> signed_sd_deg;  // circular SD
  std::vector<ThresholdShare> shares;   // one a threshold of the rubric
  std::array<BudgetMean, budget_parts> budget;
  std::vector<LearningPoint> learning;
  std::optional<Estimate> change_per_10_cases_deg;  // straight line, from a full window of cases on
  std::optional<std::size_t>
      cusum_accepted;  // case number at which the acceptable rate was accepted
  std::optional<std::size_t> cusum_rejected;  // or the unacceptable one, whichever came first
};

// Limits of the CUSUM chart and what they mean.
struct CusumLimits {
  statistics::CusumDesign design;
  std::size_t horizon_cases = 50;
  double false_alarm_by_horizon = 0.0;  // probability of a signal at the acceptable rate
  double detected_by_horizon = 0.0;     // at the unacceptable rate
};
CusumLimits cusum_limits(const Rubric& rubric);

// `cases` of one operator; they are taken in the order of their case numbers.
OperatorSummary summarise(const std::string& code, std::vector<const GradedCase*> cases,
                          const Rubric& rubric, const CusumLimits& limits);

}  // namespace rhumb::grade
