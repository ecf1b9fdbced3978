// The limbus in the averaged ring.
#pragma once

#include "eye/atlas.h"
#include "eye/limbus_step.h"

namespace rhumb::eye {

// The limbus is the middle of the transition from iris to sclera, in brightness and in colour: a
// lid's shadow can take all of the one, never both. In each direction every radius has a
// likelihood, from how well a soft step there explains the three planes; an ellipse of small
// flattening is fitted to the likelihoods of all directions at once by expectation maximisation
// with a falling temperature (Ueda and Nakano, Neural Networks 1998;11:271-282, from memory), so
// that a direction with another edge, or with two, is no outlier to be guessed at. Then again to
// the planes one by one, each trusted by how evenly it steps round this eye. A unit circle with
// arc_share 0 when there is no step.
LimbusInAtlas find_ring_limbus(const RingPlanes& planes, const RingShape& shape);

}  // namespace rhumb::eye
