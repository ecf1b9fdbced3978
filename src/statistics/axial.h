// The mean of axes, or of deviations of axes, with an interval: directions that repeat every half
// turn.
//
// Angles are doubled, treated as directions, and halved again, so that 179 and 1 degrees have the
// mean 0 and not 90 (Fisher, Statistical Analysis of Circular Data, 1993, section 2.3; formulas
// from memory, checked against simulation and against the t interval that they approach).
#pragma once

#include <cstddef>
#include <optional>
#include <span>

#include "statistics/estimate.h"

namespace rhumb::statistics {

struct AxialMean {
  std::size_t n = 0;
  double mean_rad = 0.0;       // in (-pi/2, pi/2]
  double resultant = 0.0;      // R of the doubled angles, 0 (no direction) to 1 (all the same)
  double circular_sd_rad = 0;  // sqrt(-2 ln R) / 2
  // Fisher's large-sample interval (his 4.21 and 4.22) with Student's t and n - 1 in place of the
  // normal quantile and n, so that close to one direction it is the t interval of a mean. Absent
  // below two values and where the values point nowhere.
  std::optional<Estimate> interval_rad;
};

// Nothing for an empty list.
std::optional<AxialMean> axial_mean(std::span<const double> axes_rad, double level = 0.95);

}  // namespace rhumb::statistics
