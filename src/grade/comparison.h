// Operators side by side, as far as their numbers of cases allow, with hard cases allowed for.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "grade/grading.h"
#include "statistics/estimate.h"

namespace rhumb::grade {

enum class Standing { NotCompared, NoClearDifference, Smaller, Larger };
const char* name_of(Standing standing);  // "not compared", "no clear difference", ...

struct OperatorComparison {
  std::string code;
  std::size_t graded = 0;                     // cases that took part
  Standing standing = Standing::NotCompared;  // deviations against the programme's; never a rank
  std::optional<statistics::Estimate> typical_deg;  // shrunken, adjusted, back in degrees
  std::string note;                                 // why not compared
};

struct AdjustmentEffect {
  std::string name;               // column, or column = value
  statistics::Estimate estimate;  // on the scale of the comparison
};

struct Comparison {
  std::string why_not;        // empty where the model was fitted
  std::size_t operators = 0;  // that took part
  std::size_t cases = 0;
  std::size_t left_out = 0;  // graded cases without an operator or without a value to adjust for
  double between_sd = 0.0;   // on the scale of the comparison
  double within_sd = 0.0;
  std::optional<statistics::Estimate>
      programme_deg;  // typical deviation of the programme's operators
  std::vector<AdjustmentEffect> adjustments;
  std::vector<OperatorComparison> operators_compared;  // by code
};

// Fits a mixed model to the sizes of the deviations (statistics/mixed.h), every operator with a
// graded case taking part, and reports those with enough cases. On the square-root scale 'typical'
// is the squared estimate, nearer to the median than to the mean. UserError (rubric, key, mend)
// when a column to adjust for is not in the table or has more than 20 different texts.
Comparison compare_operators(const std::vector<GradedCase>& cases,
                             const std::vector<std::string>& covariates, const Rubric& rubric);

}  // namespace rhumb::grade
