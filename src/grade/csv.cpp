#include "grade/csv.h"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <sstream>

#include "files/user_error.h"

namespace rhumb::grade {
namespace {

bool is_blank(char c) { return c == ' ' || c == '\t'; }

std::string trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return std::string(text);
}

// Length of the UTF-8 sequence at the start of `text`, 0 where it is none (RFC 3629).
std::size_t sequence_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned lead = byte(0);
  if (lead < 0x80) return 1;
  const std::size_t length = lead < 0xC2   ? 0
                             : lead < 0xE0 ? 2
                             : lead < 0xF0 ? 3
                             : lead < 0xF5 ? 4
                                           : 0;
  if (length == 0 || text.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0U) != 0x80U) return 0;
  }
  const bool overlong = (lead == 0xE0 && byte(1) < 0xA0) || (lead == 0xF0 && byte(1) < 0x90);
  const bool beyond = (lead == 0xED && byte(1) >= 0xA0) || (lead == 0xF4 && byte(1) >= 0x90);
  return overlong || beyond ? 0 : length;
}

class Reader {
 public:
  Reader(std::string_view text, const std::filesystem::path& file) : text_(text), file_(file) {
    if (text_.substr(0, 3) == "\xEF\xBB\xBF") text_.remove_prefix(3);
    check_text();
  }

  // The next row; false at the end.
  bool next(CsvRow& row) {
    while (at_line_end() && !done()) end_line();
    if (done()) return false;
    row.line = line_;
    row.fields.clear();
    for (;;) {
      row.fields.push_back(field(row.fields.size()));
      if (done()) return true;
      if (text_[at_] == ',') {
        ++at_;
        continue;
      }
      end_line();
      return true;
    }
  }

  [[noreturn]] void fail(int line, std::size_t column, std::string problem,
                         std::string mend) const {
    throw UserError(file_.string(), fmt::format("line {}, column {}", line, column_letter(column)),
                    std::move(problem), std::move(mend));
  }

 private:
  bool done() const { return at_ >= text_.size(); }
  bool at_line_end() const { return done() || text_[at_] == '\n' || text_[at_] == '\r'; }

  void end_line() {
    if (text_[at_] == '\r') ++at_;
    if (!done() && text_[at_] == '\n') ++at_;
    ++line_;
  }

  std::string field(std::size_t column) {
    if (!done() && text_[at_] == '"') return quoted(column);
    const std::size_t from = at_;
    while (!at_line_end() && text_[at_] != ',') {
      if (text_[at_] == '"') {
        fail(line_, column, "a quote stands inside a field that does not start with one",
             "put the whole field in double quotes and write each quote in it twice");
      }
      ++at_;
    }
    return std::string(text_.substr(from, at_ - from));
  }

  std::string quoted(std::size_t column) {
    const int start = line_;
    std::string value;
    for (++at_; !done(); ++at_) {
      const char c = text_[at_];
      if (c == '"' && at_ + 1 < text_.size() && text_[at_ + 1] == '"') {
        value += '"';
        ++at_;
      } else if (c == '"') {
        ++at_;
        if (!at_line_end() && text_[at_] != ',') {
          fail(line_, column, "text follows the closing quote of a field",
               "write each quote inside the field twice");
        }
        return value;
      } else {
        if (c == '\n') ++line_;
        value += c;
      }
    }
    fail(start, column, "the quote that opens this field is never closed", "add the closing quote");
  }

  void check_text() const {
    int line = 1;
    for (std::size_t i = 0; i < text_.size();) {
      const std::size_t length = sequence_length(text_.substr(i));
      if (length == 0 || text_[i] == '\0') {
        throw UserError(file_.string(), fmt::format("line {}", line),
                        length == 0 ? "this is not UTF-8 text" : "a zero byte stands in the text",
                        "save the table as CSV in UTF-8");
      }
      if (text_[i] == '\n') ++line;
      i += length;
    }
  }

  std::string_view text_;
  const std::filesystem::path& file_;
  std::size_t at_ = 0;
  int line_ = 1;
};

void check_header(const Reader& reader, const CsvRow& header) {
  for (std::size_t i = 0; i < header.fields.size(); ++i) {
    const std::string& name = header.fields[i];
    if (name.empty()) reader.fail(header.line, i, "this column has no name", "name it or drop it");
    const auto first = std::find(header.fields.begin(), header.fields.end(), name);
    if (first != header.fields.begin() + static_cast<std::ptrdiff_t>(i)) {
      reader.fail(header.line, i, fmt::format("a second column is named '{}'", name),
                  "give each column a name of its own");
    }
  }
}

}  // namespace

std::size_t CsvTable::column(std::string_view name) const {
  const auto found = std::find(header.begin(), header.end(), name);
  return found == header.end() ? npos : static_cast<std::size_t>(found - header.begin());
}

CsvTable parse_csv(std::string_view text, const std::filesystem::path& file) {
  Reader reader(text, file);
  CsvRow header;
  if (!reader.next(header)) {
    throw UserError(file.string(), "line 1", "the table is empty",
                    "write a line with column names");
  }
  for (std::string& name : header.fields) name = trimmed(name);
  check_header(reader, header);
  CsvTable table{file, header.fields, {}};
  for (CsvRow row; reader.next(row);) {
    const std::size_t wanted = table.header.size();
    if (row.fields.size() != wanted) {
      reader.fail(row.line, std::min(row.fields.size(), wanted) - 1,
                  fmt::format("the row has {} fields, the header {}", row.fields.size(), wanted),
                  row.fields.size() > wanted ? "put fields that hold a comma in double quotes"
                                             : "add the missing commas");
    }
    table.rows.push_back(std::move(row));
  }
  return table;
}

CsvTable read_csv(const std::filesystem::path& file, std::size_t most_bytes) {
  std::error_code error;
  const std::filesystem::file_status status = std::filesystem::status(file, error);
  if (std::filesystem::is_directory(status))
    throw UserError(file.string(), "", "is a folder", "give the path of a table (CSV)");
  if (!std::filesystem::is_regular_file(status)) {
    throw UserError(file.string(), "", "there is no such file", "check the name");
  }
  const auto size = std::filesystem::file_size(file, error);
  if (!error && size > most_bytes) {
    throw UserError(file.string(), "",
                    fmt::format("the table is larger than {} MB", most_bytes >> 20U),
                    "split it into several cohorts");
  }
  std::ifstream in(file, std::ios::binary);
  std::stringstream text;
  text << in.rdbuf();
  if (!in) throw UserError(file.string(), "", "it cannot be read", "check the rights of the file");
  return parse_csv(text.str(), file);
}

std::string column_letter(std::size_t index) {
  std::string letters;
  for (std::size_t i = index + 1; i > 0; i = (i - 1) / 26) {
    letters.insert(letters.begin(), static_cast<char>('A' + (i - 1) % 26));
  }
  return letters;
}

}  // namespace rhumb::grade
