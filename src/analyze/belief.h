// How likely it is that a frame's axis lies on the right path.
#pragma once

#include <cstddef>
#include <span>

#include "analyze/frames.h"
#include "analyze/refine.h"

namespace rhumb::analyze {

// Probability, 0 to 1, that the path is within 3 degrees of the lens at a frame. The path's
// posterior rests on coarse evidence and on how lenses usually turn; after a quick turn it can stay
// low for long though the recording's own marks are found again at the path's axis frame after
// frame. Where they are, the readings vouch for it; where frames hardly speak for the axis for half
// a second, no reading makes it sure, and where they speak against it, it is 0 (docs/method.md,
// section 5). `time_s`: of all frames, ascending.
double belief(const FrameReading& coarse, const FineReading& fine, std::span<const double> time_s,
              std::size_t frame);

}  // namespace rhumb::analyze
