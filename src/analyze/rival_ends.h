// How crowded a pupil is with things that look like one end of a lens's marks.
#pragma once

#include <span>

#include "lens/axis_search.h"
#include "timeline/axis_model.h"

namespace rhumb::analyze {

// At how many meridians beside those of the path's axis an end scores nearly as well as the weaker
// of its two: the mean over the clearer half of the windows in which the path has this lens. A
// printed lens has two ends and no more; bubbles lie anywhere, and of some of them two lie
// opposite to each other by chance. 0 where the path has no such lens. scores: of this lens, an
// entry a step of the path, null where the step was not looked at.
double rival_ends(const timeline::AxisPath& path, timeline::Phase phase,
                  std::span<const lens::AxisScores* const> scores);

}  // namespace rhumb::analyze
