// A table as a list of columns, each of which says what it holds.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "files/csv_field.h"
#include "grade/csv.h"

namespace rhumb::grade {

double rounded(double value);

template <typename Row>
struct Column {
  std::string name;
  std::string unit;
  std::string meaning;
  std::function<std::string(const Row&)> text;
};

template <typename Row>
using Columns = std::vector<Column<Row>>;

inline std::string number_text(double value) {
  return std::isfinite(value) ? fmt::format("{}", rounded(value)) : std::string();
}
inline std::string number_text(const std::optional<double>& value) {
  return value ? number_text(*value) : std::string();
}

template <typename Row>
void append_header(const Columns<Row>& columns, std::string& out) {
  for (std::size_t i = 0; i < columns.size(); ++i) {
    out += (i > 0 ? "," : "") + files::csv_field(columns[i].name);
  }
  out += '\n';
}

template <typename Row>
void append_row(const Columns<Row>& columns, const Row& row, std::string& out) {
  for (std::size_t i = 0; i < columns.size(); ++i) {
    out += (i > 0 ? "," : "") + files::csv_field(columns[i].text(row));
  }
  out += '\n';
}

template <typename Row>
void append_meanings(const std::string& file, const Columns<Row>& columns, std::string& out) {
  for (const auto& c : columns) {
    out += fmt::format("{},{},{},{}\n", file, files::csv_field(c.name), files::csv_field(c.unit),
                       files::csv_field(c.meaning));
  }
}

}  // namespace rhumb::grade
