// Any bytes as a series file: either its values or one error of one line.
#include <cstdint>

#include "casefile/read.h"
#include "fuzz/refused.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  const std::string_view text(reinterpret_cast<const char*>(bytes), count);
  values_or_one_line([&] {
    rhumb::casefile::parse_series(text, "any.toml", rhumb::casefile::NamedFiles::Unchecked);
  });
  return 0;
}
