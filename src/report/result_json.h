// result.json: what the case comes to. docs/schemas/result.schema.json states its form.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>

#include "optics/effect.h"
#include "outcome/outcome.h"

namespace rhumb::report {

// What the achieved axis means for the refraction, where the case states enough; empty without a
// final axis. With relative axes only what the deviation alone decides is given.
std::optional<optics::RefractiveEffect> effect_of(const outcome::CaseOutcome& outcome);

nlohmann::ordered_json result_value(const outcome::CaseOutcome& outcome);
// Its parts on marks set by hand.
nlohmann::ordered_json anchors_value(const outcome::CaseOutcome& outcome);
nlohmann::ordered_json reader_agreement_value(const outcome::CaseOutcome& outcome);
// The text of the file. Keys stand in a fixed order; numbers are rounded as in timeline.csv; bytes
// that are not UTF-8 become U+FFFD.
std::string result_json(const outcome::CaseOutcome& outcome);

// Beside, then renamed. UserError where it can't be written.
void write_result_json(const outcome::CaseOutcome& outcome, const std::filesystem::path& file);

}  // namespace rhumb::report
