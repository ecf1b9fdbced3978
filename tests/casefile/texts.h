// A small valid case and series to vary, and what they complain about.
#pragma once

#include <string>

#include "casefile/read.h"
#include "files/user_error.h"

namespace casefile_texts {

inline const std::string whole_case = R"([case]
id       = "A-017"
eye      = "right"
operator = "f03"
date     = 2026-05-14

[video]
file     = "video.mp4"
superior = "bottom"
mirrored = false

[plan]
axis_deg      = 112.0
tolerance_deg = 5.0

[reference]
kind          = "ink"
meridians_deg = [0.0, 180.0]

[lens]
marks         = "dots"
marks_per_end = 3
optic_mm      = 6.0
cylinder_D    = 2.25

[anatomy]
white_to_white_mm = 11.8
)";

inline const std::string whole_series = R"([series]
id  = "F-003"
eye = "left"

[lens]
marks         = "dots"
marks_per_end = 3

[plan]
axis_deg = 70.0

[[visit]]
label    = "1 day"
date     = 2026-05-15
image    = "visit-1.png"
superior = "top"

[[visit]]
label = "3 months"
date  = 2026-08-14
image = "visit-2.png"
superior = "top"
)";

// The text with its first `from` replaced; `from` must be there.
inline std::string with(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  if (at == std::string::npos) throw std::logic_error("the text has no '" + from + "'");
  return text.replace(at, from.size(), to);
}

inline rhumb::casefile::Case parsed(const std::string& text) {
  return rhumb::casefile::parse_case(text, "cases/case.toml",
                                     rhumb::casefile::NamedFiles::Unchecked);
}

inline rhumb::casefile::Series parsed_series(const std::string& text) {
  return rhumb::casefile::parse_series(text, "series/series.toml",
                                       rhumb::casefile::NamedFiles::Unchecked);
}

// The line that is complained, or "accepted".
inline std::string complaint(const std::string& text) {
  try {
    parsed(text);
  } catch (const rhumb::UserError& error) {
    return error.what();
  }
  return "accepted";
}

inline std::string series_complaint(const std::string& text) {
  try {
    parsed_series(text);
  } catch (const rhumb::UserError& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace casefile_texts
