// The photographs of one eye matched with each other, by their limbal rings.
//
// Every pair is tried. A photograph that fits no other may have been given the wrong limbus: the
// other rings that might be it are tried, then rings of other sizes about the same centre, as a
// wide pupil beside a soft limbus takes its place. Only a match tells; then the match's own scale
// and shift set that limbus right.
#pragma once

#include <vector>

#include "eye/ring_match.h"
#include "followup/joint.h"
#include "followup/workers.h"
#include "reference/photo_file.h"

namespace rhumb::followup {

struct PhotoOfSeries {
  reference::Photo photo;
  std::vector<eye::LimbusEllipse> limbi;  // that it may have, likeliest first
  int used = 0;                           // of limbi
  const eye::LimbusEllipse& limbus() const { return limbi[static_cast<std::size_t>(used)]; }
};

// Sets `pairs` (a before b) to all pairs of photographs with a limbus, and `used` and `limbi` of
// the photographs to what fits. The result does not depend on the number of threads.
JointSolution match_photos(std::vector<PhotoOfSeries>& photos, std::vector<Pair>& pairs,
                           const eye::RingMatchOptions& options, const ForAll& each);

}  // namespace rhumb::followup
