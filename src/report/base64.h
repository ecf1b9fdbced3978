// Base64 (RFC 4648, section 4, with padding).
#pragma once

#include <cstdint>
#include <span>
#include <string>

namespace rhumb::report {

std::string base64(std::span<const std::uint8_t> bytes);

}  // namespace rhumb::report
