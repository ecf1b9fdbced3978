// The validation's tables for machines (RFC 4180).
#pragma once

#include <string>
#include <vector>

#include "validate/tally.h"

namespace rhumb::validate {

std::string clips_csv(const std::vector<ClipScore>& scores);
std::string conditions_csv(const std::vector<Tally>& tallies);
std::string calibration_csv(const std::vector<CalibrationBin>& bins);

}  // namespace rhumb::validate
