// What the lenses' marks look like in this recording, found without knowing it: several suppositions are followed
// through all windows, the best few are learned from, and what was learned decides between them.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "analyze/windows.h"
#include "lens/axis_search.h"
#include "timeline/axis_model.h"

namespace rhumb::analyze {

// A supposition of how the marks of one lens show.
struct Supposition {
  lens::Marks marks;
  bool light = false;  // lighter than the glow: read with the map for light marks
};

// Every look, once with the pattern that the case states and once with any pattern.
std::vector<Supposition> suppositions_for(const lens::StatedMarks& stated);

// Scores of every supposition in one window, in their order.
std::vector<lens::AxisScores> search_window(const Window& window, const lens::PatchGeometry& geometry,
                                            std::span<const Supposition> suppositions,
                                            const lens::CentreGrid& centres);

// Fills `reading` from its windows, whose scores by supposition are there.
void acquire(WindowReading& reading, const LensPrior& prior, const lens::PatchGeometry& geometry, double step_s,
             int threads);

}  // namespace rhumb::analyze
