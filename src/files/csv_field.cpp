#include "files/csv_field.h"

#include <algorithm>
#include <array>
#include <charconv>

namespace rhumb::files {
namespace {

bool is_number(std::string_view text) {
  if (text.starts_with('+')) text.remove_prefix(1);
  double value = 0.0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  return error == std::errc() && end == text.data() + text.size();
}

bool is_formula(std::string_view text) {
  using namespace std::string_view_literals;
  constexpr std::array starts{"="sv,  "+"sv,  "-"sv,  "@"sv,  "\t"sv, "\r"sv,
                              "\n"sv, "＝"sv, "＋"sv, "－"sv, "＠"sv};
  const bool may_be = std::any_of(starts.begin(), starts.end(),
                                  [&](std::string_view start) { return text.starts_with(start); });
  return may_be && !is_number(text);
}

}  // namespace

std::string csv_field(std::string_view text) {
  const std::string safe = (is_formula(text) ? "'" : "") + std::string(text);
  if (safe.find_first_of(",\"\r\n") == std::string::npos) return safe;
  std::string quoted = "\"";
  for (const char c : safe) {
    quoted += c;
    if (c == '"') quoted += '"';
  }
  return quoted + '"';
}

}  // namespace rhumb::files
