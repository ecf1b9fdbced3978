#include "files/user_error.h"

#include <utility>

namespace rhumb {
namespace {

std::string joined(const std::string& file, const std::string& place, const std::string& problem,
                   const std::string& mend) {
  std::string line;
  for (const std::string* part : {&file, &place, &problem}) {
    if (part->empty()) continue;
    if (!line.empty()) line += ": ";
    line += one_line(*part);
  }
  if (!mend.empty()) line += "; " + one_line(mend);
  return line;
}

// Length of the valid UTF-8 sequence at the start of the text, 0 when there is none.
std::size_t sequence_length(const std::string& text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned char first = byte(at);
  std::size_t length = 0;
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first < 0xE0) length = 2;
  if (first >= 0xE0 && first < 0xF0) length = 3;
  if (first >= 0xF0 && first < 0xF5) length = 4;
  if (length == 0 || at + length > text.size()) return 0;
  for (std::size_t i = 1; i < length; ++i)
    if ((byte(at + i) & 0xC0U) != 0x80U) return 0;
  return length;
}

// C1 controls, and the marks that turn the direction of writing or break a line.
bool is_hidden(const std::string& text, std::size_t at, std::size_t length) {
  const std::string sequence = text.substr(at, length);
  if (length == 2) return sequence[0] == '\xC2' && static_cast<unsigned char>(sequence[1]) < 0xA0;
  if (length != 3 || sequence[0] != '\xE2') return false;
  const auto second = static_cast<unsigned char>(sequence[1]);
  const auto third = static_cast<unsigned char>(sequence[2]);
  if (second == 0x80) return third >= 0xA8 || third == 0x8E || third == 0x8F;
  return second == 0x81 && third >= 0xA6 && third <= 0xA9;
}

}  // namespace

std::string one_line(const std::string& text, std::size_t most) {
  std::string line;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = sequence_length(text, at);
    if (line.size() + length > most) return line + "...";
    const auto byte = static_cast<unsigned char>(text[at]);
    if (length == 0) {
      line += '?';
    } else if (length == 1 && (byte < 0x20 || byte == 0x7F)) {
      line += ' ';
    } else if (!is_hidden(text, at, length)) {
      line.append(text, at, length);
    }
    at += length == 0 ? 1 : length;
  }
  return line;
}

UserError::UserError(std::string file, std::string place, std::string problem, std::string mend)
    : std::runtime_error(joined(file, place, problem, mend)),
      file_(std::move(file)),
      place_(std::move(place)),
      problem_(std::move(problem)),
      mend_(std::move(mend)) {}

}  // namespace rhumb
