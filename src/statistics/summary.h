// Plain summaries of a list of numbers. An empty list, or one too short, gives NaN or no value.
#pragma once

#include <optional>
#include <span>

#include "statistics/estimate.h"

namespace rhumb::statistics {

double mean(std::span<const double> values);
// With n - 1 in the denominator; NaN below two values.
double standard_deviation(std::span<const double> values);
double median(std::span<const double> values);
// By linear interpolation between order statistics at (n - 1) p (type 7 of Hyndman and Fan 1996,
// the default of R and NumPy); p in [0, 1].
double quantile(std::span<const double> values, double p);

// The mean with Student's t interval; nothing below two values.
std::optional<Estimate> mean_with_interval(std::span<const double> values, double level = 0.95);

// Straight line y = intercept + slope x by least squares, slope with its t interval on n - 2
// degrees of freedom. Nothing below three points or where all x are the same.
struct Line {
  double intercept = 0.0;
  Estimate slope;
  double residual_sd = 0.0;
};
std::optional<Line> fit_line(std::span<const double> x, std::span<const double> y,
                             double level = 0.95);

}  // namespace rhumb::statistics
