#include "files/plain_name.h"

namespace rhumb::files {

std::string plain_name(std::string_view text) {
  std::string name;
  for (const char c : text) {
    const bool plain =
        (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
    if (plain) {
      name += c;
    } else if (!name.empty() && name.back() != '-') {
      name += '-';
    }
  }
  constexpr std::size_t longest = 80;
  return name.size() > longest ? name.substr(name.size() - longest) : name;
}

}  // namespace rhumb::files
