// Intraclass correlation: which share of the variance of readings lies between the subjects.
//
// Forms as named by Shrout and Fleiss, Psychol Bull 1979;86:420-428, intervals by the F statistics
// given there and in McGraw and Wong, Psychol Methods 1996;1:30-46 (published correction applied).
#pragma once

#include <cstddef>
#include <optional>
#include <span>

#include "statistics/estimate.h"

namespace rhumb::statistics {

struct IntraclassCorrelation {
  std::size_t subjects = 0;
  std::size_t readers = 0;
  double mean_square_subjects = 0.0;  // MSB
  double mean_square_within = 0.0;    // MSW
  double mean_square_readers = 0.0;   // MSJ
  double mean_square_error = 0.0;     // MSE
  Estimate icc_1_1;                   // each subject read by other readers, single reading
  Estimate icc_2_1;                   // readers a sample, absolute agreement, single reading
  Estimate icc_3_1;                   // these readers only, consistency, single reading
  Estimate icc_1_k;                   // the same three for the mean of all readers
  Estimate icc_2_k;
  Estimate icc_3_k;
};

// `readings` row by row: subjects x readers, complete. Nothing below two readers or three subjects,
// where the size is no multiple of `readers`, or where all readings are the same.
std::optional<IntraclassCorrelation> intraclass_correlation(std::span<const double> readings,
                                                            std::size_t readers,
                                                            double level = 0.95);

}  // namespace rhumb::statistics
