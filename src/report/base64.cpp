#include "report/base64.h"

namespace rhumb::report {

std::string base64(std::span<const std::uint8_t> bytes) {
  constexpr const char* letters =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t at = 0; at < bytes.size(); at += 3) {
    const std::size_t here = bytes.size() - at < 3 ? bytes.size() - at : 3;
    std::uint32_t group = 0;
    for (std::size_t i = 0; i < 3; ++i) group = (group << 8) | (i < here ? bytes[at + i] : 0u);
    for (std::size_t i = 0; i < 4; ++i)
      text += i <= here ? letters[(group >> (18 - 6 * i)) & 63] : '=';
  }
  return text;
}

}  // namespace rhumb::report
