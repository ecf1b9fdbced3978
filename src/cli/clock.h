// Times as people write and read them.
#pragma once

#include <optional>
#include <string>

namespace rhumb::cli {

// "3:07", "1:02:45" for 187 and 3765 seconds, rounded to the second.
std::string clock_text(double seconds);

// "187", "187.5", "3:07.5", "1:02:45" in seconds; empty when it is none of these, negative or above
// 1e6.
std::optional<double> seconds_from(const std::string& text);

}  // namespace rhumb::cli
