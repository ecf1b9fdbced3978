// What the lenses' marks look like in this recording, found without knowing it: several
// suppositions are followed through all windows, the best few are learned from, and what was
// learned decides between them.
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

// Every look, once with the pattern that the case states (unless any will do) and once with any
// pattern.
std::vector<Supposition> suppositions_for(const lens::StatedMarks& stated, bool any_pattern);

struct Acquired {
  std::array<std::optional<MarkSignature>, 2> signature;  // by lens: previous, new
  std::vector<std::array<lens::AxisScores, 2>> scores;    // by window and lens
};

// From the windows that have their contrast; `scores` of the others stay empty.
Acquired acquire(std::vector<Window>& windows, const LensPrior& prior,
                 const lens::PatchGeometry& geometry, double step_s, int threads);

// A window's scores with what was acquired.
std::array<lens::AxisScores, 2> score_window(const Window& window, const Acquired& acquired,
                                             const lens::PatchGeometry& geometry);

// Fills the path, the centres and the signatures of `reading`, whose windows have been scored.
void follow(WindowReading& reading, const Acquired& acquired, const LensPrior& prior,
            double step_s);

}  // namespace rhumb::analyze
