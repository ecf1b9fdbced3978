// From the text of `case.toml` and `series.toml` to checked values; docs/casefile.md describes the
// files.
#pragma once

#include <filesystem>
#include <string_view>

#include "casefile/case.h"

namespace rhumb::casefile {

enum class NamedFiles {
  MustExist,
  Unchecked
};  // recordings, photographs: Unchecked serves fuzzing

// The case in `file`; paths in it are taken relative to its folder. Degrees become radians; an axis
// of 180 becomes 0, a meridian of 360 becomes 0. UserError for everything that cannot be used,
// never another exception.
Case read_case(const std::filesystem::path& file);
Series read_series(const std::filesystem::path& file);

// The same from a text; `file` gives the folder and stands in messages.
Case parse_case(std::string_view text, const std::filesystem::path& file,
                NamedFiles named = NamedFiles::MustExist);
Series parse_series(std::string_view text, const std::filesystem::path& file,
                    NamedFiles named = NamedFiles::MustExist);

}  // namespace rhumb::casefile
