// timeline.csv: a row a video frame.
#pragma once

#include <filesystem>
#include <string>

#include "outcome/outcome.h"

namespace rhumb::report {

// The whole table: the contract's columns, lines ended by CR LF. Fields are empty where nothing can
// be said, and where a value is not finite. Degrees and pixels to 1e-4, seconds to 1e-6.
std::string timeline_csv(const outcome::CaseOutcome& outcome);

// Beside, then renamed. UserError where it can't be written.
void write_timeline_csv(const outcome::CaseOutcome& outcome, const std::filesystem::path& file);

}  // namespace rhumb::report
