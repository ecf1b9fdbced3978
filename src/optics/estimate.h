// A value with its 95 % interval, and how uncertain inputs become one.
#pragma once

#include <functional>
#include <span>
#include <vector>

namespace rhumb::optics {

// low <= value <= high, in the unit that the name of the variable gives. An estimate of an axis is
// not wrapped against itself: low may lie below 0 and high above pi.
struct Estimate {
  double value = 0.0;
  double low = 0.0;
  double high = 0.0;
};

// An input with a two-sided error: a normal distribution on each side of its value.
struct Uncertain {
  double value = 0.0;
  double se_below = 0.0;
  double se_above = 0.0;

  static Uncertain exact(double value) { return {value, 0.0, 0.0}; }
  static Uncertain normal(double value, double se) { return {value, se, se}; }
  // From a 95 % interval, which need not be symmetric.
  static Uncertain from(const Estimate& estimate);
};

// Draws of the inputs: row 0 holds the values themselves, the others a fixed set of points that
// fills the normal distribution evenly (an additive recurrence of Kronecker's kind through the
// Box-Muller transform). The same inputs give the same draws on every run; no random generator is
// involved.
std::vector<std::vector<double>> draw(std::span<const Uncertain> inputs, int count = 8000);

// The 2.5 and 97.5 % quantiles of results[1..] around results[0], widened where need be to hold it.
Estimate summarise(std::span<const double> results);
// The same for axes in radians (periodic by pi): quantiles of the wrapped difference from
// results[0].
Estimate summarise_axes(std::span<const double> axes_rad);

}  // namespace rhumb::optics
