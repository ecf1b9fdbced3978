#include "analyze/error_law.h"

#include <cmath>

namespace rhumb::analyze {
namespace {

// Standard deviations of the two normal distributions, as shares of the 95 % half-width: the narrow
// one has no share in what lies outside it, so that the wide one leaves out a tenth; together they
// hold half within half_share.
constexpr double wide = 0.607957;    // 1 / qnorm(0.95)
constexpr double narrow = 0.163553;  // solved for, see the test

double normal_within(double limit, double sd) { return std::erf(limit / (sd * std::sqrt(2.0))); }

}  // namespace

double error_within(double limit_rad, double half_95_rad) {
  return 0.5 * (normal_within(limit_rad, narrow * half_95_rad) +
                normal_within(limit_rad, wide * half_95_rad));
}

}  // namespace rhumb::analyze
