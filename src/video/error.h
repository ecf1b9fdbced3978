// The error that this room throws for recordings that cannot be used.
#pragma once

#include <filesystem>
#include <string>

#include "files/user_error.h"

namespace rhumb::video {

// One line that names the file, the place in it (a stream; may be empty) and the mend, as UserError
// says.
class VideoError : public UserError {
 public:
  VideoError(const std::filesystem::path& file, const std::string& place,
             const std::string& problem, const std::string& mend)
      : UserError(file.string(), place, problem, mend) {}
};

}  // namespace rhumb::video
