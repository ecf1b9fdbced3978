// How well two ways of reading agree, and how well one agrees with itself.
//
// Differences of axes must come in wrapped to (-90, 90] degrees, and repeats of one axis unwrapped
// about their common mean; the unit of the data is the unit of the results.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "statistics/estimate.h"

namespace rhumb::statistics {

// Bland and Altman, Lancet 1986;i:307-310 and Stat Methods Med Res 1999;8:135-160.
struct BlandAltmanOptions {
  double multiplier = 1.959963984540054;  // of the SD; the 1986 paper prints limits with 2
  double level = 0.95;                    // of the intervals, with Student's t on n - 1
};
struct BlandAltman {
  std::size_t n = 0;
  double sd = 0.0;        // of the differences
  double limit_se = 0.0;  // sd sqrt(1/n + multiplier^2 / (2 (n - 1))), the 1999 paper's section 2
  Estimate bias;          // mean difference
  Estimate lower_limit;   // bias - multiplier sd
  Estimate upper_limit;
};
// One difference a subject; nothing below three of them.
std::optional<BlandAltman> bland_altman(std::span<const double> differences,
                                        const BlandAltmanOptions& options = {});

// Repeated readings of the same subjects by one reader. Within-subject SD by one-way analysis of
// variance (for pairs: sqrt(sum d^2 / 2n)), its interval from chi-square; the coefficient
// 1.96 sqrt(2) SD is the difference that two readings stay within 95 % of the time (Bland and
// Altman 1999).
struct Repeatability {
  std::size_t subjects = 0;
  std::size_t readings = 0;
  Estimate within_sd;
  Estimate coefficient;
};
// Subjects with fewer than two readings add nothing; nothing comes back when all are such.
std::optional<Repeatability> repeatability(const std::vector<std::vector<double>>& by_subject,
                                           double level = 0.95);

}  // namespace rhumb::statistics
