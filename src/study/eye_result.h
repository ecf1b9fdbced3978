// What a series of photographs came to, read back from its folder of outputs: so that a study that
// was stopped and goes on gives the same numbers as one in a single run.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "statistics/estimate.h"
#include "study/table.h"

namespace rhumb::study {

// All angles in degrees, as the files have them.
struct PhotographResult {
  std::string file;    // name without folder
  std::string sha256;  // of the file
  bool matched = false;
  std::optional<double> rotation_deg;
  std::optional<double> axis_deg;
  std::optional<double> axis_se_deg;
  std::string why_not;
};

struct VisitResult {
  std::string label;
  std::string date;  // ISO 8601 or empty
  std::optional<statistics::Estimate> axis, head_tilt, drift, step;
  std::string why_not;
  std::vector<PhotographResult> photographs;
};

struct EyeResult {
  std::string id;
  std::string eye;      // "right", "left"
  std::string failure;  // one line; empty where the series was measured
  std::vector<VisitResult> visits;
};

// UserError where the folder holds no outcome of a series.
EyeResult read_eye_result(const std::filesystem::path& folder);

// An eye without an outcome: its visits, as far as the table or the series file tell them.
EyeResult failed_eye(const Table& table, const TableEye& eye, const std::string& failure);

// Whether the folder holds an outcome of this very series, photographs and program.
bool is_up_to_date(const std::filesystem::path& folder, const std::string& version,
                   const std::string& commit, const std::string& series_sha256,
                   const std::vector<std::string>& input_sha256);

// Days from one ISO 8601 date to another; nothing where one of them is empty.
std::optional<int> days_between(const std::string& from, const std::string& to);

}  // namespace rhumb::study
