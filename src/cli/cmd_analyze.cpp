// rhumb analyze: one recorded operation to its outcome.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <future>
#include <memory>
#include <thread>

#include "analyze/analyze.h"
#include "casefile/patient_orientation.h"
#include "casefile/read.h"
#include "cli/clock.h"
#include "cli/command.h"
#include "cli/progress.h"
#include "cli/run_record.h"
#include "files/staged_folder.h"
#include "files/user_error.h"
#include "outcome/caution.h"
#include "reference/photo_file.h"
#include "report/report.h"
#include "video/dicom_object.h"

namespace rhumb::cli {
namespace {

struct Options {
  std::string file;
  std::string folder;
  std::string from;
  std::string to;
  int threads = 0;  // 0: as many as the machine has
  bool quiet = false;
  bool no_review = false;
  bool stills = false;
  bool stage_times = false;
  std::vector<std::string> left_out;
};

// Wall time of each stage, said on the error stream so that no output depends on it.
class StageTimes {
 public:
  explicit StageTimes(bool wanted) : wanted_(wanted) {}
  StageTimes(const StageTimes&) = delete;
  StageTimes& operator=(const StageTimes&) = delete;
  ~StageTimes() { begins(nullptr); }

  void begins(const char* stage) {
    const auto now = std::chrono::steady_clock::now();
    if (wanted_ && stage_ != nullptr)
      fmt::print(stderr, "rhumb: stage {}: {:.2f} s\n", stage_,
                 std::chrono::duration<double>(now - since_).count());
    stage_ = stage;
    since_ = now;
  }

  void begins(analyze::Stage stage) {
    constexpr std::array names{"atlas", "pictures", "windows", "frames", "refinement", "outcome"};
    begins(names.at(static_cast<std::size_t>(stage)));
  }

 private:
  bool wanted_;
  const char* stage_ = nullptr;
  std::chrono::steady_clock::time_point since_;
};

// Hashes the inputs beside the analysis, on a thread of its own; ends early when the analysis
// fails.
class HashesBeside {
 public:
  HashesBeside(const casefile::Case& stated, const std::stop_token& cancel)
      : link_(cancel, [this] { stop_.request_stop(); }),
        hashes_(std::async(std::launch::async, [&stated, token = stop_.get_token()] {
          return hash_inputs(stated, token);
        })) {}
  ~HashesBeside() { stop_.request_stop(); }
  HashesBeside(const HashesBeside&) = delete;
  HashesBeside& operator=(const HashesBeside&) = delete;

  InputHashes get() { return hashes_.get(); }

 private:
  std::stop_source stop_;
  std::stop_callback<std::function<void()>> link_;
  std::future<InputHashes> hashes_;
};

std::optional<double> place(const std::string& name, const std::string& text) {
  if (text.empty()) return std::nullopt;
  const std::optional<double> seconds = seconds_from(text);
  if (!seconds)
    throw UserError(name, "", "\"" + text + "\" is not a time",
                    "write seconds, or minutes and seconds as in 12:30");
  return seconds;
}

analyze::LeftOut left_out(const std::vector<std::string>& names) {
  const auto has = [&names](const char* name) {
    return std::find(names.begin(), names.end(), name) != names.end();
  };
  return {has("affine"), has("atlas"), has("pattern"), has("smoothing"), has("skipping")};
}

analyze::AnalyzeOptions analysis_options(const Options& options) {
  analyze::AnalyzeOptions analysis;
  analysis.from_s = place("--from", options.from);
  analysis.to_s = place("--to", options.to);
  if (analysis.from_s && analysis.to_s && *analysis.to_s <= *analysis.from_s)
    throw UserError("--to", "", "is not after --from", "exchange the two");
  analysis.left_out = left_out(options.left_out);
  const unsigned present = std::thread::hardware_concurrency();
  analysis.threads =
      options.threads > 0 ? options.threads : static_cast<int>(present > 0 ? present : 1);
  return analysis;
}

// Only what can change the outputs: the number of threads, for one, does not.
NamedTexts recorded_options(const analyze::AnalyzeOptions& analysis, const Options& options) {
  const auto text = [](const std::optional<double>& value) {
    return value ? fmt::format("{:g}", *value) : std::string("none");
  };
  const char* review = options.no_review ? "none" : options.stills ? "stills" : "video";
  NamedTexts recorded{
      {"from_s", text(analysis.from_s)}, {"to_s", text(analysis.to_s)}, {"review", review}};
  if (!options.left_out.empty())
    recorded.emplace_back("left_out", fmt::format("{}", fmt::join(options.left_out, " ")));
  return recorded;
}

void fill_record(outcome::RunRecord& record, NamedTexts options, InputHashes hashes) {
  record.program_version = RHUMB_VERSION;
  record.commit = built_commit();
  record.libraries = library_versions();
  record.options = std::move(options);
  record.case_sha256 = std::move(hashes.case_file);
  record.input_sha256 = std::move(hashes.inputs);
}

report::ReportOptions report_options(const Options& options, const std::stop_token& cancel) {
  report::ReportOptions report;
  report.review = report::Review::Video;
  if (options.stills) report.review = report::Review::Stills;
  if (options.no_review) report.review = report::Review::None;
  report.cancel = cancel;
  return report;
}

void write_outputs(const outcome::CaseOutcome& outcome, const Options& options,
                   const std::stop_token& cancel) {
  ProgressLine progress("Writing", options.quiet || options.no_review);
  report::ReportOptions report = report_options(options, cancel);
  report.progress = [&progress](double share) { progress.show(share); };
  report::write_outcome(outcome, options.folder, report);
}

void say(const outcome::CaseOutcome& outcome, const Options& options) {
  for (const std::string& warning : outcome.run.warnings)
    fmt::print(stderr, "rhumb: {}\n", one_line(warning));
  if (options.quiet) return;
  fmt::print("{}: {}\n", one_line(outcome.stated.id), one_line(outcome.verdict, 2000));
  const std::filesystem::path page = std::filesystem::path(options.folder) / "report.html";
  fmt::print("Open {} in a browser. {}\n", page.string(), outcome::caution);
}

// A recording that is a DICOM object says for itself which eye it shows, when, and how it lies.
void check_objects(const casefile::Case& stated) {
  for (const auto& file : stated.video.files)
    if (const auto says = video::read_dicom_object(file))
      casefile::check_against_file(
          {stated.eye, stated.date, stated.video.superior, stated.video.mirrored},
          {says->laterality, says->date, says->patient_orientation}, file.string());
}

// A photograph that can't be read is refused before the recording has been, not after.
void check_photographs(const casefile::Case& stated) {
  for (const casefile::Reference& reference : stated.references)
    if (!reference.photo.empty()) reference::read_photo(reference.photo);
}

int run(const Options& options, const std::stop_token& cancel) {
  const casefile::Case stated = casefile::read_case(options.file);
  check_objects(stated);
  check_photographs(stated);
  analyze::AnalyzeOptions analysis = analysis_options(options);
  StageTimes times(options.stage_times);
  analysis.on_stage = [&times](analyze::Stage stage) { times.begins(stage); };
  const files::StagedFolder seen_early(options.folder);  // refuses a bad folder before the work
  HashesBeside hashes(stated, cancel);
  outcome::CaseOutcome outcome;
  {
    ProgressLine progress("Reading", options.quiet);
    const auto show = [&progress](double share, double time_s) { progress.show(share, time_s); };
    outcome = analyze::analyze(stated, analysis, show, cancel);
  }
  if (cancel.stop_requested()) throw Interrupted();
  if (!options.left_out.empty())
    outcome.run.warnings.push_back(
        fmt::format("analysed without {} (--leave-out): to measure what it buys, not as a result",
                    fmt::join(options.left_out, ", ")));
  fill_record(outcome.run, recorded_options(analysis, options), hashes.get());
  times.begins("report");
  write_outputs(outcome, options, cancel);
  times.begins(nullptr);
  say(outcome, options);
  return outcome.final ? exit_done : exit_nothing_measured;
}

}  // namespace

void add_analyze(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command =
      program.add_subcommand("analyze", "Say where the lens ended in a recorded operation");
  command->add_option("CASE", options->file, "case file, as docs/casefile.md describes it")
      ->required();
  command->add_option("--out", options->folder, "folder for the outputs; made when missing")
      ->required();
  command->add_option("--from", options->from, "start there: seconds, or 12:30");
  command->add_option("--to", options->to, "stop there");
  command->add_option("--threads", options->threads, "processor threads; never changes the outputs")
      ->check(CLI::Range(1, 256));
  command->add_flag("--quiet", options->quiet, "no progress, no summary");
  command->add_flag("--no-review", options->no_review, "leave out the annotated video");
  command->add_flag("--stills", options->stills, "annotated pictures instead of a video")
      ->excludes("--no-review");
  command
      ->add_option("--leave-out", options->left_out,
                   "replace an idea by what one would do without it, to measure what it buys: "
                   "affine, atlas, pattern, smoothing or skipping")
      ->check(CLI::IsMember({"affine", "atlas", "pattern", "smoothing", "skipping"}));
  command->add_flag("--stage-times", options->stage_times,
                    "say on the error stream how long each stage took");
  command->footer(footer("rhumb analyze cases/017/case.toml --out review/017"));
  command->callback([&chosen, options] {
    chosen.run = [options](const std::stop_token& cancel) { return run(*options, cancel); };
  });
}

}  // namespace rhumb::cli
