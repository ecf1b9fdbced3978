#include "cli/study_run.h"

#include <fmt/core.h>

#include <algorithm>
#include <atomic>
#include <mutex>
#include <optional>
#include <thread>

#include "casefile/read.h"
#include "cli/command.h"
#include "cli/progress.h"
#include "cli/run_record.h"
#include "files/staged_folder.h"
#include "files/user_error.h"
#include "followup/operation.h"
#include "followup/series.h"
#include "outcome/caution.h"
#include "report/series_report.h"
#include "report/study_report.h"
#include "study/study.h"
#include "video/digest.h"

namespace rhumb::cli {
namespace {

namespace fs = std::filesystem;

enum class Done { Measured, UpToDate };

// Measures one eye into its folder unless that is there already.
Done measure_eye(const study::Table& table, const study::TableEye& eye, const fs::path& folder,
                 int threads, const std::stop_token& cancel) {
  const casefile::Series series = study::series_of(table, eye);
  const std::string stated = study::series_sha256(eye);
  const std::vector<std::string> inputs = series_hashes(series, cancel);
  if (study::is_up_to_date(folder, RHUMB_VERSION, built_commit(), stated, inputs))
    return Done::UpToDate;
  const followup::SeriesOutcome outcome = measure_whole_series(
      series, threads, [](double) {}, cancel);
  if (cancel.stop_requested()) throw Interrupted();
  report::write_series(outcome, series_record(stated, inputs), folder);
  return Done::Measured;
}

struct Tally {
  std::vector<std::string> failures;  // one an eye, empty where there is none
  std::size_t measured = 0, up_to_date = 0;
};

Tally measure_all(const study::Table& table, const StudyRun& run, const std::stop_token& cancel) {
  Tally tally;
  tally.failures.resize(table.eyes.size());
  const int threads = run.threads > 0
                          ? run.threads
                          : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
  const int eyes = static_cast<int>(table.eyes.size());
  const int workers = std::min(threads, eyes);
  ProgressLine progress("Eyes", run.quiet);
  std::atomic<std::size_t> next{0};
  std::size_t done = 0;
  std::mutex guard;
  const auto work = [&] {
    for (std::size_t i = next++; i < table.eyes.size() && !cancel.stop_requested(); i = next++) {
      std::string failure;
      Done how = Done::Measured;
      try {
        how = measure_eye(table, table.eyes[i], run.folder / "eyes" / table.eyes[i].folder,
                          std::max(1, threads / workers), cancel);
      } catch (const Interrupted&) {
        return;
      } catch (const std::exception& error) {
        failure = one_line(error.what());
      }
      const std::lock_guard lock(guard);
      tally.failures[i] = failure;
      ++(how == Done::UpToDate ? tally.up_to_date : tally.measured);
      progress.show(static_cast<double>(++done) / eyes);
    }
  };
  std::vector<std::jthread> pool;
  for (int k = 1; k < workers; ++k) pool.emplace_back(work);
  work();
  pool.clear();
  if (cancel.stop_requested()) throw Interrupted();
  return tally;
}

}  // namespace

outcome::RunRecord series_record(const std::string& series_sha256,
                                 std::vector<std::string> input_sha256) {
  outcome::RunRecord record;
  record.program_version = RHUMB_VERSION;
  record.commit = built_commit();
  record.libraries = library_versions();
  record.case_sha256 = series_sha256;
  record.input_sha256 = std::move(input_sha256);
  return record;
}

std::vector<std::string> series_hashes(const casefile::Series& series,
                                       const std::stop_token& cancel) {
  std::vector<std::string> out;
  if (!series.operation.empty() && !fs::is_directory(series.operation)) {
    const InputHashes operation = hash_inputs(casefile::read_case(series.operation), cancel);
    out.push_back(operation.case_file);
    out.insert(out.end(), operation.inputs.begin(), operation.inputs.end());
  }
  for (const auto& visit : series.visits)
    for (const auto& image : visit.images) out.push_back(video::sha256_of_file(image, cancel));
  return out;
}

followup::SeriesOutcome measure_whole_series(const casefile::Series& series, int threads,
                                             const std::function<void(double share)>& progress,
                                             const std::stop_token& cancel) {
  // Most of the time goes into the recording, where there is one.
  const double before = series.operation.empty() ? 0.0 : 0.9;
  std::optional<followup::Operation> operation;
  if (!series.operation.empty()) {
    followup::OperationOptions reading;
    reading.threads =
        threads > 0 ? threads : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
    reading.progress = [&](double share) { progress(before * share); };
    reading.cancel = cancel;
    operation = followup::read_operation(series.operation, series.eye, reading);
  }
  followup::SeriesOptions measuring;
  measuring.threads = threads;
  measuring.cancel = cancel;
  measuring.progress = [&](int done, int of) {
    progress(before + (1 - before) * static_cast<double>(done) / of);
  };
  if (operation) measuring.operation = &*operation;
  return followup::measure_series(series, measuring);
}

int run_study(const StudyRun& run, const std::stop_token& cancel) {
  study::Table table = study::read_table(run.table);
  const files::StagedFolder seen_early(run.folder);  // refuses a bad folder before the work
  const Tally tally = measure_all(table, run, cancel);
  std::vector<study::EyeResult> eyes;
  std::size_t failed = 0;
  for (std::size_t i = 0; i < table.eyes.size(); ++i) {
    if (tally.failures[i].empty()) {
      eyes.push_back(study::read_eye_result(run.folder / "eyes" / table.eyes[i].folder));
    } else {
      eyes.push_back(study::failed_eye(table, table.eyes[i], tally.failures[i]));
      fmt::print(stderr, "rhumb: {}\n", tally.failures[i]);
      ++failed;
    }
  }
  const study::Study study = study::sum_up(std::move(table), std::move(eyes));
  outcome::RunRecord record = series_record(video::sha256_of_file(run.table, cancel), {});
  report::write_study(study, record, run.folder);
  if (!run.quiet) {
    fmt::print("{} eyes: {} measured, {} up to date, {} could not be read; {} of {} rotations.\n",
               study.eyes.size(), tally.measured - failed, tally.up_to_date, failed,
               study.rotations, study.visits_after_first);
    fmt::print("Open {} in a browser. {}\n", (run.folder / "study.html").string(),
               outcome::caution);
  }
  return study.rotations > 0 ? exit_done : exit_nothing_measured;
}

}  // namespace rhumb::cli
