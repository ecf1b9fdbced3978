// Takes the edges that run round the eye out of a contrast map.
#pragma once

#include "lens/contrast.h"

namespace rhumb::lens {

// Subtracts from the contrast on and beside every thin ring of `map` (edge of the rhexis, of the
// optic) what the ring shows for some distance along itself, so that a mark that lies on it stays
// and the ring goes, wherever its centre lies. A ring is a part of `map.ring` that a circle fits;
// it is taken out of `map.ring`, and any other part is left as it is. Method: least-squares circle
// (Kasa 1976, from memory), fitted again without what lies far from it; running median along it.
void flatten_rings(ContrastMap& map, const PatchGeometry& geometry);

}  // namespace rhumb::lens
