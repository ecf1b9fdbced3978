// Any bytes as each of the tables and settings that grading takes: a cohort, people's readings, a
// rubric.
#include <cstdint>

#include "files/csv_field.h"
#include "fuzz/memory_file.h"
#include "fuzz/refused.h"
#include "grade/cohort.h"
#include "grade/csv.h"
#include "grade/readers.h"
#include "grade/rubric.h"

namespace {

// What was read as a field is written and read again as itself.
void write_and_read_again(std::string_view text) {
  const rhumb::grade::CsvTable table = rhumb::grade::parse_csv(text, "any.csv");
  for (const rhumb::grade::CsvRow& row : table.rows) {
    if (row.fields.size() != table.header.size()) std::abort();
    for (const std::string& field : row.fields) {
      const std::string again = "name\n" + rhumb::files::csv_field(field) + "\n";
      const auto read = rhumb::grade::parse_csv(again, "again.csv");
      // An empty line is no row; an apostrophe stands before what a spreadsheet would run.
      if (field.empty() ? !read.rows.empty()
                        : read.rows.at(0).fields.at(0) != field &&
                              read.rows.at(0).fields.at(0) != "'" + field)
        std::abort();
    }
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  const std::string_view text(reinterpret_cast<const char*>(bytes), count);
  const MemoryFile file(bytes, count);
  values_or_one_line([&] { rhumb::grade::read_cohort(file.path()); });
  values_or_one_line([&] { rhumb::grade::read_readings(file.path()); });
  values_or_one_line([&] { rhumb::grade::parse_rubric(text, "any.toml"); });
  values_or_one_line([&] { write_and_read_again(text); });
  return 0;
}
