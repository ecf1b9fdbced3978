// Angles as the outputs write them: degrees, wrapped as the convention of the files says.
#pragma once

#include <string>

#include "outcome/outcome.h"

namespace rhumb::report {

struct IntervalDeg {
  double value = 0.0;
  double low = 0.0;
  double high = 0.0;
};

// The value in [0, 180); low <= value <= high, which may pass below 0 or above 180. Rounded to the
// 1e-4 degrees that the files hold, so that rounding cannot lead out of these bounds.
IntervalDeg axis_deg(const outcome::Interval& axis);
// The value in (-90, 90], its bounds carried along.
IntervalDeg deviation_deg(const outcome::Interval& deviation);
// Rounded to 1e-4, never a negative zero.
double rounded(double value, double step = 1e-4);

// For people: "112.4", and 180 where a file has 0.
std::string axis_text(double axis_deg, int decimals = 1);
// "+2.1", "-0.3", "0.0" with a true minus sign.
std::string signed_text(double value, int decimals = 1);

}  // namespace rhumb::report
