// Comma-separated tables as RFC 4180 has them, read strictly: a doubtful table is refused with its
// place.
#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace rhumb::grade {

struct CsvRow {
  int line = 0;  // of the file, from 1, where the row starts
  std::vector<std::string> fields;
};

// Header plus rows, each row with as many fields as the header. Empty lines between rows are
// skipped.
struct CsvTable {
  std::filesystem::path file;
  std::vector<std::string> header;
  std::vector<CsvRow> rows;

  // Index of a column, or npos.
  std::size_t column(std::string_view name) const;
  static constexpr std::size_t npos = static_cast<std::size_t>(-1);
};

// UTF-8 with or without byte order mark, line ends LF or CRLF, commas, fields in double quotes
// where they hold commas, quotes (doubled) or line ends. Spaces around a column's name are dropped;
// those in fields are kept. UserError (file, line, column, mend): not readable, larger than
// `most_bytes`, not UTF-8, a quote in the wrong place or never closed, a row of another length, a
// column without name or twice the same.
CsvTable read_csv(const std::filesystem::path& file, std::size_t most_bytes = 256U << 20U);

// The same on text in memory; `file` only names it in messages.
CsvTable parse_csv(std::string_view text, const std::filesystem::path& file);

// "A", "B", ..., "Z", "AA": how a spreadsheet names column `index` from 0.
std::string column_letter(std::size_t index);

}  // namespace rhumb::grade
