// How the marks of one lens show, learned from the windows in which a path has it.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "analyze/windows.h"
#include "lens/axis_search.h"
#include "timeline/axis_model.h"

namespace rhumb::analyze {

// Between the lens centres that marks are first searched about: 0.2 mm (limbal radii), which a
// mark's width bridges.
inline constexpr double search_centre_step = 0.032;

using ScoresOfWindow = std::function<const lens::AxisScores&(std::size_t window)>;

// Mean contrast along the two rays of the path's axis over the phase's windows that show both ends;
// of those in which the lens rests, when there are three. Nothing when no window shows both ends,
// or what they show can't be marks on the stated optic: too long, or beyond its edge; if lighter
// than the glow also shorter than the stated pattern, as reflexes and bubbles are.
std::optional<MarkSignature> learn_marks(const std::vector<Window>& windows,
                                         const timeline::AxisPath& path, timeline::Phase phase,
                                         const ScoresOfWindow& scores_of, bool light,
                                         const lens::StatedMarks& stated,
                                         const lens::PatchGeometry& geometry);

}  // namespace rhumb::analyze
