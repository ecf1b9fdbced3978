// Analysing case files: names of folders, resuming, tries, failures, cancelling. The analysis is a
// stand-in here; the test grade_workflow runs the program itself.
#include <atomic>
#include <catch2/catch.hpp>
#include <filesystem>
#include <set>

#include "files/user_error.h"
#include "grade/batch.h"
#include "grade/folder.h"
#include "video/digest.h"

using namespace rhumb;
using namespace rhumb::grade;

namespace {

// Writes what an analysis leaves that matters here: version and check sum.
JobResult leave_outcome(const CaseJob& job) {
  std::filesystem::create_directories(job.outcome);
  std::ofstream(job.outcome / "result.json")
      << "{\"run\": {\"version\": \"" << RHUMB_VERSION << "\", \"case_sha256\": \""
      << video::sha256_of_file(job.case_file) << "\"}}";
  return {};
}

struct Setting {
  test::Folder folder;
  Cohort cohort;
  std::vector<CaseJob> jobs;

  explicit Setting(int cases) {
    std::string table = "outcome\n";
    for (int i = 0; i < cases; ++i) {
      const std::string name = "c" + std::to_string(i) + "/case.toml";
      folder.write(name, "id = " + std::to_string(i));
      table += name + "\n";
    }
    cohort = read_cohort(folder.write("cohort.csv", table + "ready\n"));
    jobs = case_jobs(cohort, folder.path() / "outcomes");
  }

  BatchReport run(const AnalyseCase& analyse, unsigned processes = 3) {
    return run_batch(cohort, jobs, analyse, {processes, 2}, {}, {});
  }
};

}  // namespace

TEST_CASE("each case file gets a folder of its own that it finds again", "[grade]") {
  Setting setting(0);
  const auto named = [&](const std::string& table) {
    Cohort cohort = read_cohort(setting.folder.write("t.csv", table));
    std::vector<std::string> names;
    for (const auto& job : case_jobs(cohort, "out"))
      names.push_back(job.outcome.filename().string());
    return names;
  };
  const auto names =
      named("outcome\na/case.toml\na-case.toml\n../b c/case.toml\n\xC3\xA4.toml\nready\n");
  CHECK(std::set<std::string>(names.begin(), names.end()).size() == 4);
  for (const auto& name : names) {
    CHECK(name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-_") == std::string::npos);
  }
  CHECK(named("outcome\nother/case.toml\na/case.toml\n")[1] == names[0]);
}

TEST_CASE("what is done is not done again; what changed is", "[grade]") {
  Setting setting(6);
  std::atomic<int> calls{0};
  const auto analyse = [&](const CaseJob& job, const std::stop_token&) {
    ++calls;
    return leave_outcome(job);
  };
  CHECK(setting.run(analyse).analysed == 6);
  const auto again = setting.run(analyse);
  CHECK(again.analysed == 0);
  CHECK(again.up_to_date == 6);
  CHECK(calls == 6);
  setting.folder.write("c2/case.toml", "id = 99");
  setting.folder.write("outcomes/" + setting.jobs[4].outcome.filename().string() + "/result.json",
                       "{\"run\": 3}");
  CHECK(setting.run(analyse).analysed == 2);
  CHECK(setting.cohort.rows.back().outcome == setting.folder.path() / "ready");
}

TEST_CASE("a failure is tried once more, then told, and stops nothing", "[grade]") {
  Setting setting(5);
  std::atomic<int> calls{0};
  const auto report = setting.run(
      [&](const CaseJob& job, const std::stop_token&) {
        if (job.row == 1) return ++calls, JobResult{true, "no such video"};
        if (job.row == 2 && calls++ == 0) return JobResult{true, "a passing trouble"};
        return leave_outcome(job);
      },
      1);
  CHECK(report.failures.size() == 6);
  CHECK(report.failures[1] == "no such video");
  CHECK(report.failures[0].empty());
  CHECK(report.failures[2].empty());
}

TEST_CASE("cancelling keeps what is done and starts nothing new", "[grade]") {
  Setting setting(8);
  std::stop_source stop;
  std::atomic<int> calls{0};
  const auto analyse = [&](const CaseJob& job, const std::stop_token&) {
    if (++calls == 2) stop.request_stop();
    return leave_outcome(job);
  };
  CHECK_THROWS_AS(run_batch(setting.cohort, setting.jobs, analyse, {1, 2}, {}, stop.get_token()),
                  Interrupted);
  CHECK(calls == 2);
  CHECK(is_up_to_date(setting.jobs[1]));
  CHECK_FALSE(is_up_to_date(setting.jobs[2]));
}
