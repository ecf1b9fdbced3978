#include "report/degrees.h"

#include <fmt/format.h>

#include <cmath>

#include "angle/angle.h"

namespace rhumb::report {
namespace {

// Carries an interval along when its value is wrapped, and keeps the order of the three.
IntervalDeg carried(const outcome::Interval& interval, double wrapped_rad) {
  const double value = angle::deg_from_rad(wrapped_rad);
  const double below = angle::deg_from_rad(interval.value_rad - interval.low_rad);
  const double above = angle::deg_from_rad(interval.high_rad - interval.value_rad);
  // Not std::max: it would make an exact value of one whose bounds are not numbers.
  return {rounded(value), rounded(value - (below < 0.0 ? 0.0 : below)),
          rounded(value + (above < 0.0 ? 0.0 : above))};
}

void shift(IntervalDeg& interval, double by) {
  interval.value += by;
  interval.low = rounded(interval.low + by);
  interval.high = rounded(interval.high + by);
}

}  // namespace

double rounded(double value, double step) {
  // Division by the inverse gives the double nearest to the decimal number.
  const double inverse = std::round(1.0 / step);
  const double result = std::round(value * inverse) / inverse;
  return result == 0.0 ? 0.0 : result;
}

IntervalDeg axis_deg(const outcome::Interval& axis) {
  IntervalDeg result = carried(axis, angle::wrap_axis(axis.value_rad));
  if (result.value >= 180.0) shift(result, -180.0);
  return result;
}

IntervalDeg deviation_deg(const outcome::Interval& deviation) {
  IntervalDeg result = carried(deviation, angle::wrap_deviation(deviation.value_rad));
  if (result.value <= -90.0) shift(result, 180.0);
  return result;
}

std::string axis_text(double axis_deg, int decimals) {
  double wrapped = std::fmod(axis_deg, 180.0);
  if (wrapped < 0.0) wrapped += 180.0;
  const std::string text = fmt::format("{:.{}f}", wrapped, decimals);
  return std::stod(text) == 0.0 ? fmt::format("{:.{}f}", 180.0, decimals) : text;
}

std::string signed_text(double value, int decimals) {
  const std::string size = fmt::format("{:.{}f}", std::abs(value), decimals);
  if (std::stod(size) == 0.0) return size;
  return (value < 0.0 ? "\u2212" : "+") + size;
}

}  // namespace rhumb::report
