// The one error that this room throws for input that cannot be used.
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>

namespace rhumb::video {

// what() is one line: "FILE: PROBLEM; MEND". The problem says where in the file it lies when that
// is known.
class VideoError : public std::runtime_error {
 public:
  VideoError(const std::filesystem::path& in_file, const std::string& what_is_wrong,
             const std::string& what_to_do)
      : std::runtime_error(in_file.string() + ": " + what_is_wrong + "; " + what_to_do),
        file(in_file),
        problem(what_is_wrong),
        mend(what_to_do) {}

  std::filesystem::path file;
  std::string problem;
  std::string mend;
};

}  // namespace rhumb::video
