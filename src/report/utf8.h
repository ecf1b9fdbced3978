// UTF-8, letter by letter.
#pragma once

#include <string>
#include <string_view>

namespace rhumb::report {

// Takes one code point off the front of a text that is not empty; U+FFFD for a byte that belongs to
// none (also overlong forms, surrogates and values above U+10FFFF: RFC 3629).
char32_t take_letter(std::string_view& text);

void append_utf8(std::string& out, char32_t letter);

}  // namespace rhumb::report
