// timeline.csv: a row a video frame.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "outcome/outcome.h"

namespace rhumb::report {

// A text field as RFC 4180 has it: in quotes where it holds a comma, a quote or a line break. Text
// that a spreadsheet would run as a formula (it starts with = + - @, a tab or a carriage return)
// gets an apostrophe before it.
std::string csv_field(std::string_view text);

// The whole table: the contract's columns, lines ended by CR LF. Fields are empty where nothing can
// be said, and where a value is not finite. Degrees and pixels to 1e-4, seconds to 1e-6.
std::string timeline_csv(const outcome::CaseOutcome& outcome);

// Beside, then renamed. UserError where it can't be written.
void write_timeline_csv(const outcome::CaseOutcome& outcome, const std::filesystem::path& file);

}  // namespace rhumb::report
