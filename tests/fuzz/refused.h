// What a harness asks of any input: that what is read holds together, or is refused by an error of
// one line.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <string_view>

#include "files/user_error.h"

// Ends the program unless `holds`, and says in which line of the harness (clang 14 has no
// std::source_location).
inline void check(bool holds, int line = __builtin_LINE()) {
  if (holds) return;
  std::fprintf(stderr, "line %d of the harness does not hold\n", line);
  std::abort();
}

// Runs `read`; a UserError of one line is well, one of several lines ends the program.
template <class Read>
void values_or_one_line(Read read) {
  try {
    read();
  } catch (const rhumb::UserError& error) {
    if (std::string_view(error.what()).find('\n') != std::string_view::npos) std::abort();
  }
}
