// Running a whole study: every eye's series, then the tables and the page over all of them.
#pragma once

#include <filesystem>
#include <functional>
#include <stop_token>
#include <string>
#include <vector>

#include "casefile/case.h"
#include "followup/series.h"
#include "outcome/outcome.h"

namespace rhumb::cli {

struct StudyRun {
  std::filesystem::path table;
  std::filesystem::path folder;
  int threads = 0;  // in all; 0: one a core
  bool quiet = false;
};

// The exit status. An eye that can't be read is listed and does not stop the others; an eye whose
// folder holds the outcome of the same series, photographs and program is not measured again.
int run_study(const StudyRun& run, const std::stop_token& cancel);

// What is written down about the measuring of a series.
outcome::RunRecord series_record(const std::string& series_sha256,
                                 std::vector<std::string> input_sha256);
// SHA-256 of the operation's case file and inputs where the series names one, then of every
// photograph in the order of the visits. UserError where one can't be read.
std::vector<std::string> series_hashes(const casefile::Series& series,
                                       const std::stop_token& cancel);
// Analyses the operation where the series names one, then measures the photographs.
followup::SeriesOutcome measure_whole_series(const casefile::Series& series, int threads,
                                             const std::function<void(double share)>& progress,
                                             const std::stop_token& cancel);

}  // namespace rhumb::cli
