// rhumb followup: photographs of one eye after surgery to the lens's rotation between visits.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "casefile/read.h"
#include "cli/command.h"
#include "cli/progress.h"
#include "cli/study_run.h"
#include "files/staged_folder.h"
#include "files/user_error.h"
#include "followup/series.h"
#include "outcome/caution.h"
#include "report/series_report.h"
#include "video/digest.h"

namespace rhumb::cli {
namespace {

struct Options {
  std::string file;
  std::string folder;
  std::string table;
  int threads = 0;
  bool quiet = false;
};

int run(const Options& options, const std::stop_token& cancel) {
  if (options.file.empty() == options.table.empty())
    throw UserError("rhumb followup", "", "it needs a series file or a table, one of the two",
                    "write rhumb followup series.toml --out DIR, or --table cohort.csv");
  if (!options.table.empty())
    return run_study({options.table, options.folder, options.threads, options.quiet}, cancel);
  const casefile::Series series = casefile::read_series(options.file);
  const files::StagedFolder seen_early(options.folder);  // refuses a bad folder before the work
  followup::SeriesOutcome outcome;
  {
    ProgressLine progress("Reading", options.quiet);
    outcome = measure_whole_series(
        series, options.threads, [&](double share) { progress.show(share); }, cancel);
  }
  const outcome::RunRecord record =
      series_record(video::sha256_of_file(series.file, cancel), series_hashes(series, cancel));
  if (cancel.stop_requested()) throw Interrupted();
  report::write_series(outcome, record, options.folder);
  for (const std::string& note : outcome.notes) fmt::print(stderr, "rhumb: {}\n", one_line(note));
  if (!options.quiet) {
    fmt::print("{}: {}\n", one_line(outcome.stated.id), one_line(outcome.verdict, 2000));
    const std::filesystem::path page = std::filesystem::path(options.folder) / "report.html";
    fmt::print("Open {} in a browser. {}\n", page.string(), outcome::caution);
  }
  return outcome.measured ? exit_done : exit_nothing_measured;
}

}  // namespace

void add_followup(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command = program.add_subcommand(
      "followup", "Say how far a lens has turned between photographs after surgery");
  command->add_option("SERIES", options->file, "series file, as docs/casefile.md describes it");
  command->add_option(
      "--table", options->table,
      "instead of a series: a table (CSV) of many eyes; goes on where a stopped run was");
  command->add_option("--out", options->folder, "folder for the outputs; made when missing")
      ->required();
  command->add_option("--threads", options->threads, "processor threads; never changes the outputs")
      ->check(CLI::Range(1, 256));
  command->add_flag("--quiet", options->quiet, "say nothing but errors and what was refused");
  command->footer(footer(
      "rhumb followup series.toml --out followup\n  rhumb followup --table study.csv --out study"));
  command->callback([&chosen, options] {
    chosen.run = [options](const std::stop_token& cancel) { return run(*options, cancel); };
  });
}

}  // namespace rhumb::cli
