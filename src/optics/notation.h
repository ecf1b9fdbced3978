// Refractions as people write them: sphere/cylinder x axis, such as -0.50/-1.25x170.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "optics/power.h"

namespace rhumb::optics {

// Reads S/CxA, or a sphere alone. Either sign of cylinder, axis 0 to 180 degrees, powers within 60
// D. Empty when the text is anything else.
std::optional<SphereCylinder> parse_notation(std::string_view text);

// With two decimals and a whole axis from 1 to 180, as people write it; a cylinder that rounds to
// nothing is left out with its axis.
std::string notation(const SphereCylinder& lens);

// An axis as people write it: degrees above 0 and up to 180, with so many decimals.
std::string axis_text(double axis_rad, int decimals = 0);

}  // namespace rhumb::optics
