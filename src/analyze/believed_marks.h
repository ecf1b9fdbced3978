// Whether the marks that were followed are marks at all.
#pragma once

#include "analyze/frames.h"
#include "analyze/refine.h"
#include "analyze/windows.h"

namespace rhumb::analyze {

struct Belief {
  bool previous = false;
  bool current = false;
  bool unmoved = false;  // what may be the new lens's marks does nothing that the eye does not
};

// Each lens stands on its own evidence: that of the windows, that of single frames, and how alike
// and how steady its two ends are once they were refined. Gates and what they rest on:
// docs/method.md, section 5.
Belief belief_in(const WindowReading& windows, const FrameReading& coarse, const FineReading& fine);

}  // namespace rhumb::analyze
