// A lens followed from frame to frame by what was learned of its marks, where the path is not sure
// of it: one that is drawn across the pupil, whose centre leaves the place where windows and frames
// look for its marks, and one that is turned by jerks.
#pragma once

#include <span>

#include "analyze/place_lens.h"
#include "analyze/refine.h"

namespace rhumb::analyze {

// The track with what was followed from its sure frames, onwards and back: frames in which the path
// gives the lens up though both ends are still seen (onwards only), and frames of its own where it
// is not sure and another axis was followed; `followed` is set and nothing rests. A lens counts as
// seen while both ends show and together match as well as a third of what they do at rest; it is
// given up after 0.12 s without. Axis and centre (atlas) are what follow from both ends' turns.
// Then with what was found again beside the path (analyze/find_again); `is_free` says where.
Track followed(const Track& track, const Source& source, std::span<const double> time_s,
               const FrameReading& coarse, std::span<const char> is_free, const LearnedEnds& ends,
               int threads);

// Makes what was followed part of the path, believed as far as following is; where the path had
// none, a lens that moves, with no evidence of its own that belief in the marks could rest on.
void adopt_followed(const FineReading& fine, FrameReading& coarse);

}  // namespace rhumb::analyze
