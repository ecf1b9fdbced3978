#include "cli/clock.h"

#include <fmt/core.h>

#include <algorithm>
#include <charconv>
#include <cmath>

namespace rhumb::cli {

std::string clock_text(double seconds) {
  const long whole = std::isfinite(seconds) ? std::lround(std::clamp(seconds, 0.0, 1e7)) : 0;
  const long hours = whole / 3600;
  const long minutes = whole / 60 % 60;
  if (hours > 0) return fmt::format("{}:{:02}:{:02}", hours, minutes, whole % 60);
  return fmt::format("{}:{:02}", minutes, whole % 60);
}

std::optional<double> seconds_from(const std::string& text) {
  double total = 0.0;
  int parts = 0;
  for (std::size_t begin = 0; begin <= text.size();) {
    const std::size_t end = std::min(text.find(':', begin), text.size());
    double value = 0.0;
    const auto [stopped, error] =
        std::from_chars(text.data() + begin, text.data() + end, value, std::chars_format::fixed);
    const bool whole = error == std::errc() && stopped == text.data() + end;
    if (!whole || !(value >= 0.0) || ++parts > 3) return std::nullopt;
    if (parts > 1 && value >= 60.0) return std::nullopt;
    total = 60.0 * total + value;
    begin = end + 1;
  }
  constexpr double longest_s = 1e6;
  return total <= longest_s ? std::optional(total) : std::nullopt;
}

}  // namespace rhumb::cli
