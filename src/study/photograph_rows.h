// Rows of photographs to the text of a series file (one form of a study's table).
#pragma once

#include <string>
#include <vector>

#include "grade/csv.h"

namespace rhumb::study {

// Throws the UserError of a table: its file, line, column and what to change.
[[noreturn]] void refuse(const grade::CsvTable& table, int line, std::size_t column,
                         std::string problem, std::string mend);

// Whether a column describes photograph, visit, eye or lens.
bool is_photograph_column(const std::string& name);

// UserError when one of the columns id, eye, visit, image, marks is missing.
void check_photograph_columns(const grade::CsvTable& table);

// The rows of one eye, in the table's order, as a series file. What must be the same for all rows
// of an eye or of a visit is checked; everything else is left to the reader of series files.
std::string series_text_of(const grade::CsvTable& table,
                           const std::vector<const grade::CsvRow*>& rows);

}  // namespace rhumb::study
