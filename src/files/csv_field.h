// Text as a field of a comma-separated table.
#pragma once

#include <string>
#include <string_view>

namespace rhumb::files {

// In double quotes where it holds a comma, a quote or a line break (RFC 4180). Text that a
// spreadsheet would take for a formula gets an apostrophe in front: a start of = + - @ in either
// width, a tab or a line break, unless the whole is a number (OWASP, CSV injection).
std::string csv_field(std::string_view text);

}  // namespace rhumb::files
