#include "grade/batch.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <fstream>
#include <mutex>
#include <nlohmann/json.hpp>
#include <thread>

#include "files/plain_name.h"
#include "files/user_error.h"
#include "video/digest.h"

namespace rhumb::grade {
namespace {

// "clinic/a 017/case.toml" becomes "clinic-a-017" and eight digits of its check sum.
std::string folder_name(const std::string& stated) {
  std::filesystem::path path = std::filesystem::path(stated).lexically_normal();
  const std::string sum = video::sha256_of_text(path.generic_string()).substr(0, 8);
  path = path.stem() == "case" && path.has_parent_path() ? path.parent_path()
                                                         : path.replace_extension();
  const std::string name = files::plain_name(path.generic_string());
  return name + (name.empty() || name.back() == '-' ? "" : "-") + sum;
}

}  // namespace

std::vector<CaseJob> case_jobs(Cohort& cohort, const std::filesystem::path& outcomes) {
  std::vector<CaseJob> jobs;
  for (std::size_t i = 0; i < cohort.rows.size(); ++i) {
    CohortRow& row = cohort.rows[i];
    if (!row.is_case_file) continue;
    jobs.push_back({i, row.outcome, outcomes / folder_name(row.stated)});
    row.outcome = jobs.back().outcome;
  }
  return jobs;
}

bool is_up_to_date(const CaseJob& job) {
  std::ifstream in(job.outcome / "result.json", std::ios::binary);
  if (!in) return false;
  const auto root = nlohmann::json::parse(in, nullptr, false);
  if (!root.is_object() || !root.contains("run") || !root["run"].is_object()) return false;
  const auto& run = root["run"];
  const auto says = [&](const char* key) {
    return run.contains(key) && run[key].is_string() ? run[key].get<std::string>() : std::string();
  };
  try {
    return says("version") == RHUMB_VERSION &&
           says("case_sha256") == video::sha256_of_file(job.case_file);
  } catch (const std::exception&) {
    return false;  // the case file cannot be read: analysing it says why
  }
}

BatchReport run_batch(const Cohort& cohort, const std::vector<CaseJob>& jobs,
                      const AnalyseCase& analyse, const BatchOptions& options,
                      const std::function<void(std::size_t, std::size_t)>& on_progress,
                      const std::stop_token& cancel) {
  BatchReport report;
  report.failures.resize(cohort.rows.size());
  std::atomic<std::size_t> next{0};
  std::size_t done = 0;
  std::mutex guard;
  const auto finish = [&](const CaseJob& job, bool was_current, const JobResult& result) {
    const std::lock_guard lock(guard);
    ++(was_current ? report.up_to_date : report.analysed);
    if (result.failed) {
      report.failures[job.row] = result.message.empty() ? "no reason given" : result.message;
    }
    if (on_progress) on_progress(++done, jobs.size());
  };
  const auto work = [&] {
    for (std::size_t i = next++; i < jobs.size() && !cancel.stop_requested(); i = next++) {
      const bool current = is_up_to_date(jobs[i]);
      JobResult result;
      for (int t = 0; !current && t < options.tries && !cancel.stop_requested(); ++t) {
        result = analyse(jobs[i], cancel);
        if (!result.failed) break;
      }
      finish(jobs[i], current, result);
    }
  };
  const unsigned wanted =
      options.processes == 0 ? std::thread::hardware_concurrency() : options.processes;
  std::vector<std::thread> pool;
  for (unsigned i = 1; i < std::clamp(wanted, 1U, 1024U) && i < jobs.size(); ++i)
    pool.emplace_back(work);
  work();
  for (std::thread& t : pool) t.join();
  if (cancel.stop_requested()) throw Interrupted();
  return report;
}

}  // namespace rhumb::grade
