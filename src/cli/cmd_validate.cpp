// rhumb validate: how far the program can be trusted, on rendered eyes whose truth is known.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <thread>

#include "cli/command.h"
#include "cli/progress.h"
#include "cli/run_record.h"
#include "files/user_error.h"
#include "validate/run.h"
#include "validate/series_suite.h"

namespace rhumb::cli {
namespace {

struct Options {
  std::string suite = "conditions";
  std::string folder;
  std::string document;
  int clips = 0;
  std::uint64_t draw = 0;
  int workers = 0;
  bool tuning = false;
  bool keep = false;
  bool quiet = false;
};

std::string known_suites() {
  std::string names;
  for (const std::string& name : validate::suite_names())
    names += (names.empty() ? "" : ", ") + name;
  return names + ", followup";
}

int clips_of(const Options& o) {
  if (o.clips > 0) return o.clips;
  return o.suite == "fresh" ? 68 : 3;
}

std::string command_of(const Options& o) {
  std::string command = fmt::format("rhumb validate {} --clips {}", o.suite, clips_of(o));
  if (o.draw > 0) command += fmt::format(" --draw {}", o.draw);
  if (o.tuning) command += " --tuning-seeds";
  command += " --out DIR";
  if (!o.document.empty()) command += " --update " + o.document;
  return command;
}

int worker_count(const Options& options) {
  return options.workers > 0 ? options.workers
                             : static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
}

const char* seed_words(const Options& options) {
  return options.tuning ? "Seeds on which thresholds may have been set: not for reporting."
                        : "No threshold was set on these seeds.";
}

// Photographs instead of recordings.
int run_followup(const Options& options, const std::stop_token& cancel) {
  const auto scenes = validate::draw_series(
      clips_of(options), options.tuning ? validate::Seeds::Tuning : validate::Seeds::Report);
  validate::SeriesRunOptions running;
  running.workers = worker_count(options);
  running.keep_pictures = options.keep;
  running.cancel = cancel;
  ProgressLine progress("Validating", options.quiet);
  running.progress = [&](int done, int total) { progress.show(static_cast<double>(done) / total); };
  const auto scores = validate::run_series(scenes, options.folder, running);
  validate::write_series_pages(scores, command_of(options), seed_words(options), options.folder);
  return exit_done;
}

int run(const Options& options, const std::stop_token& cancel) {
  if (options.suite == "followup") return run_followup(options, cancel);
  validate::SuiteOptions suite;
  suite.clips = clips_of(options);
  suite.draw = options.draw;
  suite.seeds = options.tuning ? validate::Seeds::Tuning : validate::Seeds::Report;
  const std::vector<validate::Clip> clips = validate::make_suite(options.suite, suite);
  if (clips.empty())
    throw UserError("SUITE", "", "'" + options.suite + "' is not known",
                    "write one of: " + known_suites());
  validate::RunOptions running;
  running.workers = worker_count(options);
  running.keep_videos = options.keep;
  running.build = built_commit();
  running.cancel = cancel;
  ProgressLine progress("Validating", options.quiet);
  running.progress = [&](int done, int total, const validate::ClipScore&) {
    progress.show(static_cast<double>(done) / total);
  };
  const auto scores = validate::run_suite(clips, options.folder, running);
  validate::PageFacts facts;
  facts.suite = options.suite;
  facts.command = command_of(options);
  facts.seeds = seed_words(options);
  facts.build = running.build;
  facts.document = options.document;
  validate::write_pages(scores, clips, facts, options.folder);
  return exit_done;
}

}  // namespace

void add_validate(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command =
      program.add_subcommand("validate", "Measure accuracy on rendered eyes, by condition");
  command->add_option("SUITE", options->suite, "what to vary: " + known_suites())
      ->capture_default_str();
  command->add_option("--out", options->folder, "folder to write to; a stopped run goes on there")
      ->required();
  command
      ->add_option("--clips", options->clips, "clips for each condition (3); of fresh in all (68)")
      ->check(CLI::Range(1, 1000));
  command
      ->add_option("--draw", options->draw,
                   "another draw of the same kind: other eyes, other operations")
      ->check(CLI::Range(0, 999));
  command->add_option("--update", options->document,
                      "also write the figures into this document's marked part, such as "
                      "docs/accuracy.md");
  command
      ->add_option("--workers", options->workers,
                   "clips at a time; the figures are the same with any number")
      ->check(CLI::Range(1, 256));
  command->add_flag("--tuning-seeds", options->tuning,
                    "use the seeds that thresholds may be set on");
  command->add_flag("--keep-videos", options->keep, "leave the rendered clips in the folder");
  command->add_flag("--quiet", options->quiet, "no progress");
  command->footer(footer("rhumb validate fresh --out validation --update docs/accuracy.md"));
  command->callback([&chosen, options] {
    chosen.run = [options](const std::stop_token& cancel) { return run(*options, cancel); };
  });
}

}  // namespace rhumb::cli
