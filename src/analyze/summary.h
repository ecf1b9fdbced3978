// What the rows come to in words and parts: verdict, error budget, evidence, limitations.
#pragma once

#include "analyze/believed_marks.h"
#include "analyze/rows.h"

namespace rhumb::analyze {

// Fills verdict, budget, evidence and limitations from the outcome's rows, episodes and final.
void summarise(outcome::CaseOutcome& outcome, const RowInputs& inputs,
               const std::string& why_no_eye, const Belief& belief);

}  // namespace rhumb::analyze
