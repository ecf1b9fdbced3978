// The cohort table: which cases belong to a programme, and what the programme knows about them.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace rhumb::grade {

struct CohortRow {
  int line = 0;  // of the table
  std::filesystem::path
      outcome;         // outcome folder, or case file (*.toml); relative paths are resolved
  std::string stated;  // the same as it stands in the table
  bool is_case_file = false;
  std::string operator_code;  // empty: as the outcome says
  std::string date;           // ISO 8601, empty: as the outcome says
  std::string supervisor;
  std::vector<std::string> covariates;  // in the order of Cohort::covariates
};

struct Cohort {
  std::filesystem::path file;
  std::vector<std::string> covariates;  // names of the further columns
  std::vector<CohortRow> rows;
};

// Columns: `outcome` (required), `operator`, `date`, `supervisor`, any others are covariates. Paths
// are relative to the table. UserError with file, line, column and mend: no such column, an empty
// outcome, the same one twice, a code that is no code (letters, digits, '-', '_', '.', up to 40), a
// date that is none. Whether the folders exist is not asked here: a missing outcome is a case not
// graded, not a bad table.
Cohort read_cohort(const std::filesystem::path& file);

// A calendar day as YYYY-MM-DD that exists.
bool is_iso_date(const std::string& text);
// What may stand for a person.
bool is_code(const std::string& text);

}  // namespace rhumb::grade
