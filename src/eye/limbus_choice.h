// Inside of the limbus search: which of several nested rings is the limbus. Used by limbus.cpp
// only.
#pragma once

#include <vector>

#include "eye/limbus_fit.h"

namespace rhumb::eye::limbus_fit {

// Sclera is brighter than what lies inside it; colour alone makes a doubtful limbus.
double worth(const Fit& fit);

// Of nested rings the outermost that holds its own against those inside it. Null where no ring
// shows `least_arc` of its circumference; else a pointer into `fits`.
const Fit* choose(const std::vector<Fit>& fits, double least_arc);

// The pupil or another clear ring inside `limbus`, all round of which is seen; null without one.
const Fit* pupil_of(const Fit& limbus, const std::vector<Fit>& fits);

}  // namespace rhumb::eye::limbus_fit
