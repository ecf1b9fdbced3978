// How far the two ends of a lens travel in the eye while it is turned.
#pragma once

#include <optional>

#include "analyze/refine.h"

namespace rhumb::analyze {

// The shorter way of the two ends over the longer one, between the two rests of the lens that lie
// furthest apart in axis: near 1 for a lens that turns about its middle; near 0 where what was
// taken for one end is fixed to the eye. Nothing where no two rests lie five degrees apart,
// or neither end goes 0.1 limbal radii. A rest: eight frames and more that show both ends, on an
// axis that keeps to one degree.
std::optional<double> end_travel(const FineReading& fine, timeline::Phase phase);

}  // namespace rhumb::analyze
