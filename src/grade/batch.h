// Analysing the case files of a cohort: one case a process, each into a folder of its own, safe to
// run twice.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <stop_token>
#include <string>
#include <vector>

#include "grade/cohort.h"

namespace rhumb::grade {

struct CaseJob {
  std::size_t row = 0;  // index into Cohort::rows
  std::filesystem::path case_file;
  std::filesystem::path outcome;  // folder for its results
};

// How one analysis ended. `failed` means that there is no outcome; a case in which nothing could be
// measured is no failure.
struct JobResult {
  bool failed = false;
  std::string message;  // one line, where it failed
};

// Analyses one case; may be called from several threads at once.
using AnalyseCase = std::function<JobResult(const CaseJob&, const std::stop_token&)>;

struct BatchOptions {
  unsigned processes = 0;  // at once; 0: one a core
  int tries = 2;           // a case that fails is tried once more
};

struct BatchReport {
  std::size_t analysed = 0;
  std::size_t up_to_date = 0;         // done earlier, with the same case file and program
  std::vector<std::string> failures;  // one a row of the cohort, empty where there is none
};

// Points the rows that name case files at folders below `outcomes`, named after the case file's
// path in the table and a check sum of it, so that the same row finds its folder again whatever
// else the table holds.
std::vector<CaseJob> case_jobs(Cohort& cohort, const std::filesystem::path& outcomes);

// Whether the folder holds a readable outcome of this very case file by this version of the
// program.
bool is_up_to_date(const CaseJob& job);

// Runs what is not up to date. `on_progress(done, all)` is called after each, one thread at a time.
// Interrupted when `cancel` is set: what is done stays done.
BatchReport run_batch(const Cohort& cohort, const std::vector<CaseJob>& jobs,
                      const AnalyseCase& analyse, const BatchOptions& options,
                      const std::function<void(std::size_t, std::size_t)>& on_progress,
                      const std::stop_token& cancel);

}  // namespace rhumb::grade
