// rhumb grade: a programme's cases against a rubric, with their doubt.
#include <fcntl.h>
#include <fmt/format.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <thread>

#include "cli/command.h"
#include "cli/progress.h"
#include "files/user_error.h"
#include "grade/batch.h"
#include "grade/programme.h"
#include "grade/write.h"

extern char** environ;

namespace rhumb::cli {
namespace {

struct Options {
  std::string cohort;
  std::string rubric;
  std::string out;
  std::string operator_code;
  std::string readings;
  std::string outcomes;
  unsigned processes = 0;
  bool print_rubric = false;
};

// Ends of lines in a log matter, not what came before: the last line that is not empty.
std::string last_line(const std::filesystem::path& log) {
  std::ifstream in(log);
  std::string last;
  for (std::string line; std::getline(in, line);) {
    if (!line.empty()) last = line;
  }
  return last;
}

// Waits for a child and passes on the wish to stop.
int wait_for(pid_t child, const std::stop_token& cancel) {
  int status = 0;
  bool told = false;
  for (;;) {
    const pid_t ended = waitpid(child, &status, WNOHANG);
    if (ended == child || (ended < 0 && errno != EINTR)) return status;
    if (cancel.stop_requested() && !told) {
      kill(child, SIGTERM);
      told = true;
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(20));
  }
}

// Runs this very program on one case, its messages in a log beside the outcome folder.
grade::JobResult analyse(const grade::CaseJob& job, const std::string& program, unsigned threads,
                         const std::stop_token& cancel) {
  std::error_code error;
  std::filesystem::create_directories(job.outcome.parent_path(), error);
  const std::string log = job.outcome.string() + ".log";
  posix_spawn_file_actions_t files;
  posix_spawn_file_actions_init(&files);
  posix_spawn_file_actions_addopen(&files, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&files, STDERR_FILENO, log.c_str(), O_WRONLY | O_CREAT | O_TRUNC,
                                   0644);
  posix_spawn_file_actions_adddup2(&files, STDERR_FILENO, STDOUT_FILENO);
  std::array<std::string, 8> words = {program,
                                      "analyze",
                                      job.case_file.string(),
                                      "--out",
                                      job.outcome.string(),
                                      "--threads",
                                      std::to_string(threads),
                                      "--quiet"};
  std::array<char*, words.size() + 1> arguments{};
  for (std::size_t i = 0; i < words.size(); ++i) arguments[i] = words[i].data();
  pid_t child = 0;
  const int failed =
      posix_spawn(&child, program.c_str(), &files, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&files);
  if (failed != 0) return {true, std::string("cannot start: ") + std::strerror(failed)};
  const int status = wait_for(child, cancel);
  if (WIFEXITED(status) && WEXITSTATUS(status) <= exit_nothing_measured) return {};
  std::string message = last_line(log);
  if (WIFSIGNALED(status))
    message = fmt::format("ended by signal {}; {}", WTERMSIG(status), message);
  return {true, message.empty() ? fmt::format("see {}", log) : message};
}

void analyse_cases(const Options& options, grade::Cohort& cohort,
                   std::vector<std::string>& failures, const std::stop_token& cancel) {
  const std::filesystem::path outcomes = options.outcomes.empty()
                                             ? std::filesystem::path(options.out) / "outcomes"
                                             : std::filesystem::path(options.outcomes);
  const auto jobs = grade::case_jobs(cohort, outcomes);
  if (jobs.empty()) return;
  const std::string program = std::filesystem::read_symlink("/proc/self/exe").string();
  const unsigned cores = std::max(1U, std::thread::hardware_concurrency());
  const unsigned processes = options.processes == 0 ? cores : options.processes;
  const unsigned threads = std::max(1U, cores / processes);
  grade::BatchReport report;
  {
    ProgressLine progress("Cases", false);
    report = grade::run_batch(
        cohort, jobs,
        [&](const grade::CaseJob& job, const std::stop_token& stop) {
          return analyse(job, program, threads, stop);
        },
        {processes, 2},
        [&](std::size_t done, std::size_t all) {
          progress.show(static_cast<double>(done) / static_cast<double>(all));
        },
        cancel);
  }
  fmt::print(stderr, "{} cases analysed, {} were up to date\n", report.analysed, report.up_to_date);
  failures = std::move(report.failures);
}

void say_what_came(const grade::Programme& programme, const std::string& out) {
  const auto& all = programme.everyone;
  fmt::print(stderr,
             "{} cases, {} graded, {} not graded (no fail; reasons in cases.csv); written to {}\n",
             all.cases, all.graded, all.cases - all.graded, out);
}

int run(const Options& options, const std::stop_token& cancel) {
  if (options.print_rubric) {
    fmt::print("{}", grade::default_rubric_text());
    return exit_done;
  }
  if (options.cohort.empty() || options.out.empty()) {
    throw UserError("rhumb grade", "", "it needs a cohort table and --out",
                    "write rhumb grade cohort.csv --out grades");
  }
  grade::Cohort cohort = grade::read_cohort(options.cohort);
  const grade::Rubric rubric =
      options.rubric.empty() ? grade::default_rubric() : grade::read_rubric(options.rubric);
  std::vector<grade::HumanReading> human;
  if (!options.readings.empty()) human = grade::read_readings(options.readings);
  std::vector<std::string> failures;
  analyse_cases(options, cohort, failures, cancel);
  auto readings = grade::read_outcomes(cohort, failures);
  if (cancel.stop_requested()) throw Interrupted();
  grade::Programme programme = grade::grade_programme(cohort, std::move(readings), rubric,
                                                      options.readings.empty() ? nullptr : &human,
                                                      options.readings, options.out);
  if (!options.operator_code.empty()) {
    programme = grade::for_operator(programme, options.operator_code);
  }
  grade::write_programme(programme, options.out);
  say_what_came(programme, options.out);
  return exit_done;
}

}  // namespace

void add_grade(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command = program.add_subcommand(
      "grade", "Many cases against a rubric: accuracy by operator, with intervals");
  command->add_option("COHORT", options->cohort,
                      "table (CSV) with a row a case: outcome folder or case file, operator, date, "
                      "supervisor, more");
  command->add_option("--rubric", options->rubric,
                      "levels and thresholds (TOML); without it the built-in one");
  command->add_option("--out", options->out, "folder for the tables and the page");
  command->add_option("--operator", options->operator_code,
                      "only this operator's cases, nobody else's");
  command->add_option("--readings", options->readings,
                      "table (CSV) of readings by people: case, reader, axis_deg");
  command->add_option("--outcomes", options->outcomes,
                      "where outcomes of case files go; without it OUT/outcomes");
  command->add_option("--processes", options->processes, "cases analysed at once; 0: one a core");
  command->add_flag("--print-rubric", options->print_rubric,
                    "print the built-in rubric, to copy and change");
  command->footer(footer("rhumb grade cohort.csv --out grades"));
  command->callback([&chosen, options] {
    chosen.run = [options](const std::stop_token& cancel) { return run(*options, cancel); };
  });
}

}  // namespace rhumb::cli
