// A lens that is drawn across the pupil: it hardly turns, but its centre leaves the place where
// windows and frames look for its marks. Followed from frame to frame by what was learned of them.
#pragma once

#include <span>

#include "analyze/end_strips.h"
#include "analyze/refine.h"

namespace rhumb::analyze {

// What both ends look like, and where each template's own marks lie in it.
struct LearnedEnds {
  const PairTemplate& form;
  double offset_a_rad = 0.0;
  double offset_b_rad = 0.0;
};

// The track with the frames in which a lens that the path gives up is still seen with both ends:
// their axis and centre (atlas) as followed, `sliding` set, neither resting nor in the path. A lens
// counts as seen while both ends show and together match as well as a third of what they do at
// rest; it is given up after 0.12 s without.
// Method: each frame is searched over centres about the one expected for the best match of both
// learned strips, the axis and the centre across it solved from their turns.
Track with_slides(const Track& track, const Source& source, std::span<const double> time_s,
                  const FrameReading& coarse, const LearnedEnds& ends);

// Makes what was followed part of the path: a lens that moves, believed as far as following is,
// with no evidence of its own that belief in the marks could rest on.
void adopt_slides(const FineReading& fine, FrameReading& coarse);

}  // namespace rhumb::analyze
