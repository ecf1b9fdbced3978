// The total deviation split into what made it.
#pragma once

#include "analyze/references.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

// The parts that the recording supports; they add up to the total, the deviation of the final axis:
// how far the reference's ink lies off the meridians (where another reference tells), the ink at
// the planned axis off the plan as that ink counts (where it was found), the lens off that ink when
// it first lay still, and what it turned from there to the end. Without ink at the planned axis,
// marking and alignment can't be told apart: the alignment is their sum. `common_half_rad`: half of
// the 95 % interval that all axes of the lens share. Empty without a final deviation or a still
// stretch of the new lens.
outcome::ErrorBudget error_budget(const outcome::CaseOutcome& outcome, const Tie& tie,
                                  double common_half_rad);

}  // namespace rhumb::analyze
