#include "grade/cohort.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <map>

#include "files/user_error.h"
#include "grade/csv.h"

namespace rhumb::grade {
namespace {

constexpr std::size_t longest_code = 40;

struct Columns {
  std::size_t outcome, operator_code, date, supervisor;
};

std::string field(const CsvRow& row, std::size_t column) {
  return column == CsvTable::npos ? std::string() : row.fields[column];
}

[[noreturn]] void refuse(const CsvTable& table, int line, std::size_t column, std::string problem,
                         std::string mend) {
  throw UserError(
      table.file.string(),
      fmt::format("line {}, column {} ({})", line, column_letter(column), table.header[column]),
      std::move(problem), std::move(mend));
}

void check_code(const CsvTable& table, const CsvRow& row, std::size_t column) {
  const std::string code = field(row, column);
  if (code.empty() || is_code(code)) return;
  refuse(table, row.line, column, fmt::format("'{}' is no code", code),
         fmt::format("use up to {} letters, digits, '-', '_' or '.', and no names", longest_code));
}

CohortRow row_of(const CsvTable& table, const CsvRow& row, const Columns& columns) {
  CohortRow result;
  result.line = row.line;
  result.stated = field(row, columns.outcome);
  if (result.stated.empty()) {
    refuse(table, row.line, columns.outcome, "no outcome is named",
           "write the outcome folder or the case file, or drop the row");
  }
  check_code(table, row, columns.operator_code);
  check_code(table, row, columns.supervisor);
  result.operator_code = field(row, columns.operator_code);
  result.supervisor = field(row, columns.supervisor);
  result.date = field(row, columns.date);
  if (!result.date.empty() && !is_iso_date(result.date)) {
    refuse(table, row.line, columns.date, fmt::format("'{}' is no date", result.date),
           "write it as 2026-05-14");
  }
  result.outcome =
      (table.file.parent_path() / std::filesystem::path(result.stated)).lexically_normal();
  if (!result.outcome.has_filename()) result.outcome = result.outcome.parent_path();
  result.is_case_file = result.outcome.extension() == ".toml";
  return result;
}

}  // namespace

bool is_iso_date(const std::string& text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  const auto number = [&](std::size_t from, std::size_t length) {
    int value = 0;
    for (std::size_t i = from; i < from + length; ++i) {
      if (std::isdigit(static_cast<unsigned char>(text[i])) == 0) return -1;
      value = value * 10 + (text[i] - '0');
    }
    return value;
  };
  const int year = number(0, 4);
  const int month = number(5, 2);
  const int day = number(8, 2);
  if (year < 0 || month < 1 || day < 1) return false;
  return std::chrono::year_month_day(std::chrono::year(year),
                                     std::chrono::month(static_cast<unsigned>(month)),
                                     std::chrono::day(static_cast<unsigned>(day)))
      .ok();
}

bool is_code(const std::string& text) {
  return !text.empty() && text.size() <= longest_code &&
         std::all_of(text.begin(), text.end(), [](unsigned char c) {
           return (c < 128 && std::isalnum(c) != 0) || c == '-' || c == '_' || c == '.';
         });
}

Cohort read_cohort(const std::filesystem::path& file) {
  const CsvTable table = read_csv(file);
  const Columns columns{table.column("outcome"), table.column("operator"), table.column("date"),
                        table.column("supervisor")};
  if (columns.outcome == CsvTable::npos) {
    throw UserError(file.string(), "line 1", "there is no column named 'outcome'",
                    "name the column with the outcome folders or case files so");
  }
  Cohort cohort{file, {}, {}};
  std::vector<std::size_t> further;
  for (std::size_t i = 0; i < table.header.size(); ++i) {
    if (i == columns.outcome || i == columns.operator_code || i == columns.date ||
        i == columns.supervisor) {
      continue;
    }
    further.push_back(i);
    cohort.covariates.push_back(table.header[i]);
  }
  std::map<std::filesystem::path, int> seen;
  for (const CsvRow& row : table.rows) {
    CohortRow entry = row_of(table, row, columns);
    for (const std::size_t i : further) entry.covariates.push_back(row.fields[i]);
    const auto [first, is_new] = seen.emplace(entry.outcome, row.line);
    if (!is_new) {
      refuse(table, row.line, columns.outcome,
             fmt::format("line {} names the same outcome", first->second), "drop one of the two");
    }
    cohort.rows.push_back(std::move(entry));
  }
  if (cohort.rows.empty()) {
    throw UserError(file.string(), "line 2", "the table has no rows", "add a row a case");
  }
  return cohort;
}

}  // namespace rhumb::grade
