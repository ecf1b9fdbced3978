// The drawn pictures of the page, as numbers for its templates.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <vector>

#include "optics/effect.h"
#include "outcome/outcome.h"
#include "report/stills.h"

namespace rhumb::report {

// null where there is no deviation.
nlohmann::ordered_json gauge_values(const outcome::CaseOutcome& outcome);
// The eye with planned and achieved axis over a straightened still, as far as there are any; null
// without both axes.
nlohmann::ordered_json eye_picture_values(const outcome::CaseOutcome& outcome,
                                          const StillSet& stills);
// The stills with the marks that were found in them.
nlohmann::ordered_json evidence_values(const outcome::CaseOutcome& outcome, const StillSet& stills);
// null without points.
nlohmann::ordered_json double_angle_values(const optics::RefractiveEffect& effect);

}  // namespace rhumb::report
