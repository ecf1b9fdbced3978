#include "grade/page.h"

#include <cctype>
#include <string_view>
#include <utility>
#include <vector>

#include "grade/embedded.h"
#include "grade/grade_json.h"
#include "video/digest.h"

namespace rhumb::grade {
namespace {

unsigned digit(char c) {
  return std::isdigit(static_cast<unsigned char>(c)) != 0 ? static_cast<unsigned>(c - '0')
                                                          : static_cast<unsigned>(c - 'a') + 10U;
}

// Base 64 (RFC 4648) of bytes given in hexadecimal.
std::string base64_of_hex(const std::string& hex) {
  constexpr std::string_view letters =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 6) {
    unsigned group = 0;
    unsigned bytes = 0;
    for (std::size_t j = i; j < i + 6; j += 2) {
      group <<= 8U;
      if (j + 1 >= hex.size()) continue;
      group |= digit(hex[j]) << 4U | digit(hex[j + 1]);
      ++bytes;
    }
    for (unsigned k = 0; k < 4; ++k) {
      out += k <= bytes ? letters[(group >> (18U - 6U * k)) & 63U] : '=';
    }
  }
  return out;
}

std::string source_of(const std::string& text) {
  return "'sha256-" + base64_of_hex(video::sha256_of_text(text)) + "'";
}

// Each @name@ of the template replaced once; what is put in is not looked at again.
std::string fill(std::string_view page,
                 const std::vector<std::pair<std::string, std::string>>& values) {
  std::string out;
  while (!page.empty()) {
    std::size_t first = std::string_view::npos;
    const std::pair<std::string, std::string>* next = nullptr;
    for (const auto& value : values) {
      const std::size_t at = page.find(value.first);
      if (at < first) {
        first = at;
        next = &value;
      }
    }
    out += page.substr(0, first);
    if (next == nullptr) break;
    out += next->second;
    page.remove_prefix(first + next->first.size());
  }
  return out;
}

}  // namespace

std::string for_script_element(const std::string& json) {
  std::string out;
  out.reserve(json.size());
  for (const char c : json) {
    if (c == '<') {
      out += "\\u003c";
    } else if (c == '>') {
      out += "\\u003e";
    } else if (c == '&') {
      out += "\\u0026";
    } else {
      out += c;
    }
  }
  return out;
}

std::string programme_page(const Programme& programme) {
  const std::string style =
      std::string(embedded::chart_style()) + std::string(embedded::page_style());
  const std::string charts(embedded::chart_script());
  const std::string script = std::string(embedded::words_script()) +
                             std::string(embedded::drawing_script()) +
                             std::string(embedded::page_script());
  const std::string policy = "default-src 'none'; script-src " + source_of(charts) + " " +
                             source_of(script) + "; style-src " + source_of(style) +
                             "; base-uri 'none'; form-action 'none'";
  return fill(embedded::page_template(), {{"@policy@", policy},
                                          {"@style@", style},
                                          {"@data@", for_script_element(grade_json(programme))},
                                          {"@charts@", charts},
                                          {"@script@", script}});
}

}  // namespace rhumb::grade
