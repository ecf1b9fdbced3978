// What a person marked by hand, as evidence with a stated reading error.
#pragma once

#include <string>
#include <vector>

#include "analyze/rows.h"

namespace rhumb::analyze {

// Puts the axis of each anchor's two lens marks into the rows within half a second of it that have
// no axis or a vaguer one, and marks them as resting on an anchor. Gives one plain sentence for
// each anchor that lies outside the recording, where the eye was not found, too near together to
// fix an axis, or against the frames around it.
std::vector<std::string> apply_anchors(const casefile::Case& stated, const RowInputs& inputs,
                                       std::vector<outcome::TimelineRow>& rows);

}  // namespace rhumb::analyze
