// What the rows come to in words and parts: belief in the marks, verdict, error budget, evidence,
// limitations.
#pragma once

#include "analyze/rows.h"

namespace rhumb::analyze {

// Whether the marks that were followed are marks at all.
struct Belief {
  bool previous = false;
  bool current = false;
  bool unmoved = false;  // what may be the new lens's marks does nothing that the eye does not
};

Belief belief_in(const WindowReading& windows, const FrameReading& coarse, const FineReading& fine);

// Fills verdict, budget, evidence and limitations from the outcome's rows, episodes and final.
void summarise(outcome::CaseOutcome& outcome, const RowInputs& inputs,
               const std::string& why_no_eye, const Belief& belief);

}  // namespace rhumb::analyze
