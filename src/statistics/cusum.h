// Cumulative sum charts: has the rate of failures, or the level of a measurement, left what is
// acceptable?
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace rhumb::statistics {

// A chart for failures (0 or 1 a case; values between count a doubtful case in part).
struct CusumDesign {
  double step = 0.0;         // s: each case adds (failure - s)
  double upper_limit = 0.0;  // h1: crossed upwards, the unacceptable rate is the better explanation
  double lower_limit = 0.0;  // h0: crossed downwards (by -h0), the acceptable rate is
};
// From the acceptable and the unacceptable failure rate and the two risks of the sequential
// probability ratio test: s = Q / (P + Q), P = ln(p1 / p0), Q = ln((1 - p0) / (1 - p1)), h1 = ln((1
// - b) / a) / (P + Q), h0 = ln((1 - a) / b) / (P + Q) (Wald 1947; for surgery Williams, Parry,
// Schlup, BMJ 1992;304:1359-1361 and Bolsin, Colson 2000, from memory). Nothing unless 0 < p0 < p1
// < 1 and risks lie in (0, 0.5).
std::optional<CusumDesign> cusum_design(double acceptable, double unacceptable, double false_alarm,
                                        double missed);

struct CusumPath {
  std::vector<double> cumulative;  // the plain sum after each case
  std::vector<double> chart;  // max(0, previous + failure - s); starts again at 0 after a signal
  std::vector<std::size_t> signals;               // indices at which the chart reached h1
  std::optional<std::size_t> accepted, rejected;  // first crossing of -h0 or h1 by the plain sum
};
CusumPath cusum_path(std::span<const double> failures, const CusumDesign& design);

// Probability that the chart signals at least once within `cases` cases when each fails with
// probability `rate`: exact, by following every state that the chart can be in.
double signal_probability(const CusumDesign& design, double rate, std::size_t cases);

// Page's two tabular sums for a measurement (NIST/SEMATECH e-Handbook of Statistical
// Methods, 6.3.2.3): upper_i = max(0, upper_(i-1) + x_i - target - allowance), lower likewise with
// the signs turned.
struct TwoSidedCusum {
  std::vector<double> upper;
  std::vector<double> lower;
};
TwoSidedCusum tabular_cusum(std::span<const double> values, double target, double allowance);

}  // namespace rhumb::statistics
