// The commented files that `rhumb new` writes.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace rhumb::cli {

// What can be seen of a file without asking anybody.
struct SeenRecording {
  std::string name;   // in its folder
  std::string facts;  // "1920x1080, h264, 12:30, 59.94 pictures a second", one line
};

struct SeenPhotograph {
  std::string name;
  std::string facts;               // "JPEG, 2400 x 1600", or why it can't be read, one line
  std::string date;                // ISO 8601 where the file states it, else empty
  std::optional<char> laterality;  // 'R' or 'L' where the file states it
};

struct SeenFolder {
  std::vector<SeenRecording> recordings;  // in the order of their names
  std::vector<SeenPhotograph> photographs;
};

// What only a person can know stands as an empty text, which the reader of the file then asks for
// by name.
std::string starter_case(const SeenFolder& seen);
std::string starter_series(const SeenFolder& seen);

// A TOML basic string with its quotes.
std::string toml_text(const std::string& text);

}  // namespace rhumb::cli
