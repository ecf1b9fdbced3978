#include "study/table.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>

#include "casefile/read.h"
#include "files/plain_name.h"
#include "files/user_error.h"
#include "grade/cohort.h"
#include "grade/csv.h"
#include "study/photograph_rows.h"
#include "video/digest.h"

namespace rhumb::study {
namespace {

using grade::CsvRow;
using grade::CsvTable;

bool ends_with(const std::string& text, const std::string& end) {
  return text.size() > end.size() && text.compare(text.size() - end.size(), end.size(), end) == 0;
}

std::optional<ReaderColumn> reader_of(const std::string& name) {
  for (const char* ending : {"_axis_deg", "_drift_deg"}) {
    if (!ends_with(name, ending)) continue;
    return ReaderColumn{name, name.substr(0, name.size() - std::string(ending).size()),
                        std::string(ending) == "_drift_deg"};
  }
  return std::nullopt;
}

// A reading, or nothing for an empty field. An axis is 0 to 180, a drift -180 to 180.
std::optional<double> reading(const CsvTable& table, const CsvRow& row, std::size_t column,
                              bool is_drift) {
  const std::string& text = row.fields[column];
  if (text.empty() || text == "NA") return std::nullopt;
  double value = 0;
  const char* end = text.data() + text.size();
  const auto [at, error] = std::from_chars(text.data(), end, value);
  if (error != std::errc() || at != end || !std::isfinite(value))
    refuse(table, row.line, column, "'" + text + "' is no number",
           "write degrees, or leave it empty");
  if (value < (is_drift ? -180.0 : 0.0) || value > 180.0)
    refuse(table, row.line, column, text + " is outside its range",
           is_drift ? "write a rotation from -180 to 180" : "write an axis from 0 to 180");
  return value;
}

// A name for the eye's folder that stays the same whatever else the table holds.
std::string folder_of(const std::string& stated) {
  const std::string name =
      files::plain_name(std::filesystem::path(stated).replace_extension().generic_string());
  return name + (name.empty() || name.back() == '-' ? "" : "-") +
         video::sha256_of_text(stated).substr(0, 8);
}

struct Columns {
  std::size_t series, id, visit, surgery;
};

// What is neither known nor a reader's column is passed on.
void sort_columns(const CsvTable& csv, Table& table, std::vector<std::size_t>& readers,
                  std::vector<std::size_t>& others) {
  const bool by_series = csv.column("series") != CsvTable::npos;
  for (std::size_t i = 0; i < csv.header.size(); ++i) {
    const std::string& name = csv.header[i];
    if (name == "series" || name == "surgery_date" || name == "visit") continue;
    if (!by_series && is_photograph_column(name)) continue;
    if (const auto reader = reader_of(name)) {
      table.readers.push_back(*reader);
      readers.push_back(i);
    } else {
      table.covariates.push_back(name);
      others.push_back(i);
    }
  }
}

void check_surgery(const CsvTable& csv, const CsvRow& row, std::size_t column, TableEye& eye) {
  if (column == CsvTable::npos || row.fields[column].empty()) return;
  const std::string& date = row.fields[column];
  if (!grade::is_iso_date(date))
    refuse(csv, row.line, column, "'" + date + "' is no date", "write it as 2026-05-14");
  if (!eye.surgery_date.empty() && eye.surgery_date != date)
    refuse(csv, row.line, column,
           fmt::format("{} is not the date that line {} has for this eye", date, eye.line),
           "write the same date in all rows of an eye");
  eye.surgery_date = date;
}

void add_remark(const CsvTable& csv, const CsvRow& row, std::size_t visit_column, bool by_series,
                VisitRemark remark, TableEye& eye) {
  const auto same = std::find_if(eye.remarks.begin(), eye.remarks.end(),
                                 [&](const auto& r) { return r.visit == remark.visit; });
  if (same == eye.remarks.end()) {
    eye.remarks.push_back(std::move(remark));
    return;
  }
  if (by_series)
    refuse(
        csv, row.line, visit_column == CsvTable::npos ? csv.column("series") : visit_column,
        remark.visit.empty() ? "this series stands twice" : "this visit of the series stands twice",
        "keep one row, or name the visit of each row in a column 'visit'");
  for (std::size_t i = 0; i < same->readings_deg.size(); ++i)
    if (!same->readings_deg[i]) same->readings_deg[i] = remark.readings_deg[i];
}

}  // namespace

void refuse(const CsvTable& table, int line, std::size_t column, std::string problem,
            std::string mend) {
  throw UserError(table.file.string(),
                  fmt::format("line {}, column {} ({})", line, grade::column_letter(column),
                              table.header[column]),
                  std::move(problem), std::move(mend));
}

Table read_table(const std::filesystem::path& file) {
  const CsvTable csv = grade::read_csv(file);
  const Columns columns{csv.column("series"), csv.column("id"), csv.column("visit"),
                        csv.column("surgery_date")};
  const bool by_series = columns.series != CsvTable::npos;
  if (!by_series) check_photograph_columns(csv);
  Table table;
  table.file = file;
  std::vector<std::size_t> readers, others;
  sort_columns(csv, table, readers, others);
  std::map<std::string, std::size_t> place;
  std::vector<std::vector<const CsvRow*>> rows;
  for (const CsvRow& row : csv.rows) {
    const std::size_t key = by_series ? columns.series : columns.id;
    const std::string& stated = row.fields[key];
    if (stated.empty())
      refuse(csv, row.line, key, "is empty",
             by_series ? "name a series file" : "write the eye's code");
    const auto [found, is_new] = place.emplace(stated, table.eyes.size());
    if (is_new) {
      TableEye eye;
      eye.line = row.line;
      eye.stated = stated;
      eye.folder = folder_of(stated);
      if (by_series) eye.series_file = (file.parent_path() / stated).lexically_normal();
      table.eyes.push_back(std::move(eye));
      rows.emplace_back();
    }
    TableEye& eye = table.eyes[found->second];
    rows[found->second].push_back(&row);
    check_surgery(csv, row, columns.surgery, eye);
    VisitRemark remark;
    if (columns.visit != CsvTable::npos) remark.visit = row.fields[columns.visit];
    for (std::size_t i = 0; i < readers.size(); ++i)
      remark.readings_deg.push_back(reading(csv, row, readers[i], table.readers[i].is_drift));
    for (const std::size_t i : others) remark.covariates.push_back(row.fields[i]);
    add_remark(csv, row, columns.visit, by_series, std::move(remark), eye);
  }
  if (table.eyes.empty())
    throw UserError(file.string(), "line 2", "the table has no rows", "add a row an eye");
  if (!by_series)
    for (std::size_t i = 0; i < rows.size(); ++i)
      table.eyes[i].series_text = series_text_of(csv, rows[i]);
  return table;
}

casefile::Series series_of(const Table& table, const TableEye& eye) {
  if (!eye.series_file.empty()) return casefile::read_series(eye.series_file);
  try {
    return casefile::parse_series(eye.series_text, table.file);
  } catch (const UserError& error) {
    // Lines of the text made of the rows mean nothing to anybody.
    std::string place = error.place();
    if (const auto comma = place.rfind(", "); comma != std::string::npos)
      place = place.substr(comma + 2);
    throw UserError(table.file.string(),
                    fmt::format("line {} and on, eye {}, {}", eye.line, eye.stated, place),
                    error.problem(), error.mend());
  }
}

std::string series_sha256(const TableEye& eye) {
  return eye.series_file.empty() ? video::sha256_of_text(eye.series_text)
                                 : video::sha256_of_file(eye.series_file);
}

}  // namespace rhumb::study
