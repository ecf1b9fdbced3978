// The one way in which an input may be refused: an error of one line.
#pragma once

#include <cstdlib>
#include <string_view>

#include "files/user_error.h"

// Runs `read`; a UserError of one line is well, one of several lines ends the program.
template <class Read>
void values_or_one_line(Read read) {
  try {
    read();
  } catch (const rhumb::UserError& error) {
    if (std::string_view(error.what()).find('\n') != std::string_view::npos) std::abort();
  }
}
