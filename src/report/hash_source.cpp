#include "report/hash_source.h"

#include <vector>

#include "report/base64.h"
#include "video/digest.h"

namespace rhumb::report {

std::string hash_source(const std::string& text) {
  const std::string hexadecimal = video::sha256_of_text(text);
  std::vector<std::uint8_t> bytes;
  for (std::size_t at = 0; at + 1 < hexadecimal.size(); at += 2)
    bytes.push_back(static_cast<std::uint8_t>(std::stoi(hexadecimal.substr(at, 2), nullptr, 16)));
  return "'sha256-" + base64(bytes) + "'";
}

}  // namespace rhumb::report
