#include "report/utf8.h"

#include <array>
#include <cstdint>

namespace rhumb::report {
namespace {

constexpr char32_t replacement = 0xFFFD;

int length_of(std::uint8_t first) {
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first < 0xE0) return 2;
  if (first >= 0xE0 && first < 0xF0) return 3;
  return first >= 0xF0 && first < 0xF5 ? 4 : 0;
}

}  // namespace

char32_t take_letter(std::string_view& text) {
  const auto first = static_cast<std::uint8_t>(text.front());
  const int length = length_of(first);
  if (length == 0 || text.size() < static_cast<std::size_t>(length)) {
    text.remove_prefix(1);
    return replacement;
  }
  constexpr std::array<std::uint8_t, 5> first_bits = {0, 0x7F, 0x1F, 0x0F, 0x07};
  char32_t letter = first & first_bits[length];
  for (int i = 1; i < length; ++i) {
    const auto byte = static_cast<std::uint8_t>(text[i]);
    if ((byte & 0xC0) != 0x80) {
      text.remove_prefix(1);
      return replacement;
    }
    letter = (letter << 6) | (byte & 0x3F);
  }
  constexpr std::array<char32_t, 5> least = {0, 0, 0x80, 0x800, 0x10000};
  const bool valid =
      letter >= least[length] && letter <= 0x10FFFF && !(letter >= 0xD800 && letter <= 0xDFFF);
  text.remove_prefix(valid ? static_cast<std::size_t>(length) : 1);
  return valid ? letter : replacement;
}

void append_utf8(std::string& out, char32_t letter) {
  const auto byte = [&out](char32_t value) { out += static_cast<char>(value); };
  if (letter < 0x80) {
    byte(letter);
  } else if (letter < 0x800) {
    byte(0xC0 | (letter >> 6));
    byte(0x80 | (letter & 0x3F));
  } else if (letter < 0x10000) {
    byte(0xE0 | (letter >> 12));
    byte(0x80 | ((letter >> 6) & 0x3F));
    byte(0x80 | (letter & 0x3F));
  } else {
    byte(0xF0 | (letter >> 18));
    byte(0x80 | ((letter >> 12) & 0x3F));
    byte(0x80 | ((letter >> 6) & 0x3F));
    byte(0x80 | (letter & 0x3F));
  }
}

}  // namespace rhumb::report
