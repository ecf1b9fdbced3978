// The table of a study: which eyes belong to it, their photographs, and what people read in them.
//
// Two forms, told apart by their columns; docs/followup.md describes both:
//   series                      a series file an eye (a row an eye, or a row a visit of it);
//   id, eye, visit, image, ...  a row a photograph, no series files needed.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "casefile/case.h"

namespace rhumb::study {

// A column that a person's readings stand in: "READER_axis_deg" or "READER_drift_deg".
struct ReaderColumn {
  std::string name;    // of the column
  std::string reader;  // its part before the ending
  bool is_drift = false;
};

// What a row says about a visit beside its photographs; an empty label speaks for the whole eye.
struct VisitRemark {
  std::string visit;
  std::vector<std::optional<double>> readings_deg;  // in the order of Table::readers
  std::vector<std::string> covariates;              // in the order of Table::covariates
};

struct TableEye {
  int line = 0;                       // of the table, where it stands first
  std::string stated;                 // the series file or the id, as the table has it
  std::string folder;                 // name of its folder of outputs, unique in the table
  std::filesystem::path series_file;  // empty where the table lists the photographs
  std::string series_text;            // the series file that the rows amount to, else empty
  std::string surgery_date;           // ISO 8601 or empty
  std::vector<VisitRemark> remarks;
};

struct Table {
  std::filesystem::path file;
  std::vector<ReaderColumn> readers;
  std::vector<std::string> covariates;  // names of the columns that are passed on as they are
  std::vector<TableEye> eyes;           // in the order of the table
};

// UserError with file, line, column and mend for a table that can't be used. Whether the named
// files exist is not asked: an eye that can't be read is listed as such, it does not stop a study.
Table read_table(const std::filesystem::path& file);

// The series of an eye, checked. UserError, which names the table's line where the table lists the
// photographs.
casefile::Series series_of(const Table& table, const TableEye& eye);

// SHA-256 of what states the series: the file, or the rows as text.
std::string series_sha256(const TableEye& eye);

}  // namespace rhumb::study
