// An invented outcome of an invented operation, with every part filled in. No person, no recording.
#pragma once

#include <filesystem>
#include <string>

#include "outcome/outcome.h"

namespace rhumb::report_test {

// An exchange of 12 seconds at 25 frames a second: a previous lens at 60 degrees, no lens, a new
// lens that turns and comes to rest at 114.1 degrees (planned 112). Frames 100 to 119 are not
// read.
outcome::CaseOutcome invented_outcome();
// A plain drawing of that operation (discs, lines and dots) as a recording; the outcome's poses and
// axes are those of the drawing.
void write_invented_recording(const outcome::CaseOutcome& outcome,
                              const std::filesystem::path& file);
// The same without a lens, an axis or anything found.
outcome::CaseOutcome empty_outcome();

// Texts that a page, a table or a terminal must survive.
inline const std::string hostile =
    "<script>alert('x')</script>\" onload=\"alert(1)\" &amp; </style><!-- \u202Ereversed\u202C\n"
    "=2+3, second line ]]> ${x} {{verdict}} \xC3\xA9";

// A folder of its own under the system's temporary one, removed at the end.
class Scratch {
 public:
  Scratch();
  ~Scratch();
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

std::string text_of(const std::filesystem::path& file);

}  // namespace rhumb::report_test
