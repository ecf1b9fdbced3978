#include "study/photograph_rows.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>

#include "files/user_error.h"
#include "grade/cohort.h"

namespace rhumb::study {
namespace {

using grade::CsvRow;
using grade::CsvTable;

constexpr std::array<const char*, 10> known = {
    "id",       "eye",      "visit", "date",          "image",
    "superior", "mirrored", "marks", "marks_per_end", "plan_axis_deg"};

std::string field(const CsvTable& table, const CsvRow& row, const char* name) {
  const std::size_t column = table.column(name);
  return column == CsvTable::npos ? std::string() : row.fields[column];
}

// A TOML basic string; JSON's escapes are among TOML's (toml.io, version 1.0.0).
std::string text(const std::string& value) { return nlohmann::json(value).dump(); }

// The value that all these rows share.
std::string shared(const CsvTable& table, const std::vector<const CsvRow*>& rows, const char* name,
                   const char* of_what) {
  const std::string first = field(table, *rows.front(), name);
  for (const CsvRow* row : rows)
    if (field(table, *row, name) != first)
      refuse(table, row->line, table.column(name),
             fmt::format("'{}' is not the '{}' of line {}", field(table, *row, name), first,
                         rows.front()->line),
             fmt::format("write the same in all rows of {}", of_what));
  return first;
}

// A number or a word of TOML, passed on only when it can't be mistaken for anything else.
void add_plain(const CsvTable& table, const CsvRow& row, const char* name, const char* key,
               const std::string& value, std::string& out) {
  if (value.empty()) return;
  const bool plain = value.find_first_not_of("0123456789.-truefals") == std::string::npos;
  if (!plain)
    refuse(table, row.line, table.column(name), "'" + value + "' can't be used here",
           std::string(name) == "mirrored" ? "write true or false" : "write a number");
  out += fmt::format("{} = {}\n", key, value);
}

void add_date(const CsvTable& table, const CsvRow& row, const std::string& date, std::string& out) {
  if (date.empty()) return;
  if (!grade::is_iso_date(date))
    refuse(table, row.line, table.column("date"), "'" + date + "' is no date",
           "write it as 2026-05-14");
  out += fmt::format("date = {}\n", date);
}

void add_visit(const CsvTable& table, const std::vector<const CsvRow*>& rows, std::string& out) {
  out += fmt::format("\n[[visit]]\nlabel = {}\n", text(field(table, *rows.front(), "visit")));
  add_date(table, *rows.front(), shared(table, rows, "date", "a visit"), out);
  out += "images = [";
  for (const CsvRow* row : rows) {
    const std::string image = field(table, *row, "image");
    if (image.empty())
      refuse(table, row->line, table.column("image"), "names no photograph", "write its file");
    out += (row == rows.front() ? "" : ", ") + text(image);
  }
  out += "]\n";
  if (const std::string where = shared(table, rows, "superior", "a visit"); !where.empty())
    out += fmt::format("superior = {}\n", text(where));
  add_plain(table, *rows.front(), "mirrored", "mirrored",
            shared(table, rows, "mirrored", "a visit"), out);
}

}  // namespace

bool is_photograph_column(const std::string& name) {
  return std::any_of(known.begin(), known.end(), [&](const char* k) { return name == k; });
}

void check_photograph_columns(const CsvTable& table) {
  for (const char* name : {"id", "eye", "visit", "image", "marks"})
    if (table.column(name) == CsvTable::npos)
      throw UserError(table.file.string(), "line 1",
                      fmt::format("there is no column named '{}'", name),
                      "give a column 'series' with series files, or the columns id, eye, visit, "
                      "image and marks with a row a photograph");
}

std::string series_text_of(const CsvTable& table, const std::vector<const CsvRow*>& rows) {
  const CsvRow& first = *rows.front();
  std::string out = fmt::format("[series]\nid = {}\neye = {}\n", text(field(table, first, "id")),
                                text(shared(table, rows, "eye", "an eye")));
  out += fmt::format("\n[lens]\nmarks = {}\n", text(shared(table, rows, "marks", "an eye")));
  const std::string per_end = shared(table, rows, "marks_per_end", "an eye");
  add_plain(table, first, "marks_per_end", "marks_per_end", per_end, out);
  if (const std::string axis = shared(table, rows, "plan_axis_deg", "an eye"); !axis.empty()) {
    out += "\n[plan]\n";
    add_plain(table, first, "plan_axis_deg", "axis_deg", axis, out);
  }
  std::vector<std::string> labels;
  for (const CsvRow* row : rows) {
    const std::string label = field(table, *row, "visit");
    if (std::find(labels.begin(), labels.end(), label) == labels.end()) labels.push_back(label);
  }
  for (const std::string& label : labels) {
    std::vector<const CsvRow*> of_visit;
    std::copy_if(rows.begin(), rows.end(), std::back_inserter(of_visit),
                 [&](const CsvRow* row) { return field(table, *row, "visit") == label; });
    add_visit(table, of_visit, out);
  }
  return out;
}

}  // namespace rhumb::study
