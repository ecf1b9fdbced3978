// Plots as SVG texts that stand in a page or as files of their own.
#pragma once

#include <string>
#include <vector>

#include "validate/tally.h"

namespace rhumb::validate {

// Of the levels of one group: bars for the share of readable frames with an axis, dots for the
// median error with whiskers to the 95th percentile, and the number of clips under each.
std::string error_plot(const std::vector<const Tally*>& levels);
// Of the levels of one group: the share of 95 % and of 50 % intervals that hold the truth, against
// the lines where they ought to be.
std::string coverage_plot(const std::vector<const Tally*>& levels);
// Reliability diagram: the share truly within a degree against the stated confidence, with the
// number of axes in each bin.
std::string reliability_plot(const std::vector<CalibrationBin>& bins);

}  // namespace rhumb::validate
