#include "angle/angle.h"

#include <cmath>

namespace rhumb::angle {
namespace {

// Into [0, period); the second test catches a tiny negative that rounds up to the period itself.
double wrap_from_zero(double rad, double period) {
  const double wrapped = rad - period * std::floor(rad / period);
  return wrapped >= period ? 0.0 : wrapped;
}

}  // namespace

double wrap_axis(double rad) { return wrap_from_zero(rad, pi); }
double wrap_meridian(double rad) { return wrap_from_zero(rad, 2.0 * pi); }
double wrap_deviation(double rad) { return pi / 2.0 - wrap_from_zero(pi / 2.0 - rad, pi); }
double wrap_rotation(double rad) { return pi - wrap_from_zero(pi - rad, 2.0 * pi); }

}  // namespace rhumb::angle
