// Any bytes as a series file: either its values or one error of one line.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "casefile/read.h"
#include "files/user_error.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  const std::string_view text(reinterpret_cast<const char*>(bytes), count);
  try {
    rhumb::casefile::parse_series(text, "any.toml", rhumb::casefile::NamedFiles::Unchecked);
  } catch (const rhumb::UserError& error) {
    if (std::string_view(error.what()).find('\n') != std::string_view::npos) {
      std::abort();
    }
  }
  return 0;
}
