// From poses and straightened pupils to the outcome; no picture is read again.
#pragma once

#include <stop_token>

#include "analyze/analyze.h"
#include "analyze/passes.h"
#include "analyze/windows.h"

namespace rhumb::analyze {

// What the case says of the lenses' marks, in limbal radii.
LensPrior prior_for(const casefile::Case& stated);

// `pass` has been made with `sampled`'s atlas. Fills what analyze() promises. Throws UserError for
// a photograph that can't be used, Interrupted when cancelled.
outcome::CaseOutcome conclude(const casefile::Case& stated, const SampledAtlas& sampled,
                              const Pass& pass, const AnalyzeOptions& options,
                              const Progress& progress, const std::stop_token& cancel);

}  // namespace rhumb::analyze
