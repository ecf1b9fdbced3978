// What a harness asks of any input: that what is read holds together, or is refused by an error of
// one line.
#pragma once

#include <cstdio>
#include <cstdlib>
#include <source_location>
#include <string_view>

#include "files/user_error.h"

// Ends the program, and says where, unless `holds`.
inline void check(bool holds, std::source_location where = std::source_location::current()) {
  if (holds) return;
  std::fprintf(stderr, "%s:%u: does not hold\n", where.file_name(), where.line());
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
