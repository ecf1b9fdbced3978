// Which suppositions of what the marks look like go best with a recording's windows.
#pragma once

#include <cstddef>
#include <vector>

#include "analyze/windows.h"
#include "timeline/axis_model.h"

namespace rhumb::analyze {

// Evidence by axis of each window, in log likelihood ratios against no marks. scores: an entry a
// window, null where it was not searched.
std::vector<timeline::AxisEvidence> evidence_from(
    const std::vector<const lens::AxisScores*>& scores);

// The Markov model over steps of this length.
timeline::AxisModelOptions model_for(const LensPrior& prior, double step_s);

struct Candidate {
  std::size_t previous = 0;  // number of the supposition for either lens
  std::size_t current = 0;
  timeline::AxisPath path;  // the most probable history under both
};

// From the windows' scores of so many suppositions a lens, the most probable first: every
// supposition of the new lens with that of the previous lens that goes best with it, the best of
// them with every supposition of the previous lens, and the best of two lenses alike.
std::vector<Candidate> candidates_among(const std::vector<Window>& windows,
                                        std::size_t suppositions, const LensPrior& prior,
                                        double step_s);

}  // namespace rhumb::analyze
