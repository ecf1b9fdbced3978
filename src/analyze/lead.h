// How far the axis of a path is ahead of any other.
#pragma once

#include <span>
#include <vector>

#include "timeline/axis_model.h"

namespace rhumb::analyze {

// By step of the path, by how much its axis is better supported than any other that is 6 degrees or
// more away: log likelihood ratios, on average over the steps about it in which the path keeps its
// lens and its axis (to 2 degrees). 0 where the path has no lens. Evidence that does not change
// over a stretch, as of clutter that lies still, makes that no larger, however long the stretch.
// previous, current: the evidence of either lens, an entry a step.
std::vector<float> leads(const timeline::AxisPath& path,
                         std::span<const timeline::AxisEvidence> previous,
                         std::span<const timeline::AxisEvidence> current);

}  // namespace rhumb::analyze
