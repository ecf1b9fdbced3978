// rhumb compare: several outcomes of one case side by side.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <string>
#include <vector>

#include "cli/command.h"
#include "files/user_error.h"
#include "outcome/caution.h"
#include "report/compare.h"
#include "report/degrees.h"

namespace rhumb::cli {
namespace {

using report::ComparedOutcome;

struct CompareChoice {
  std::vector<std::string> folders;
};

void refuse_mixed(const std::vector<ComparedOutcome>& outcomes) {
  for (const ComparedOutcome& outcome : outcomes) {
    if (outcome.id != outcomes[0].id)
      throw UserError(outcome.folder.string(), "case.id",
                      "is \"" + outcome.id + "\", not \"" + outcomes[0].id + "\" as in the first",
                      "give outcomes of one case");
    if (outcome.input_sha256 != outcomes[0].input_sha256)
      throw UserError(outcome.folder.string(), "run.input_sha256",
                      "differs from the first: it comes from another recording",
                      "give outcomes of one recording");
  }
}

void show(std::size_t number, const ComparedOutcome& outcome) {
  fmt::print("{}  {}\n", number, one_line(outcome.folder.string()));
  fmt::print("   rhumb {} ({}), {} of {} frames read\n", one_line(outcome.version, 40),
             one_line(outcome.commit, 40), outcome.frames.size(), outcome.frame_count);
  if (!outcome.final) {
    fmt::print("   final axis: none\n");
    return;
  }
  fmt::print(
      "   final axis: {} degrees, {} to {}, within 1 degree with {} %{}\n",
      report::axis_text(outcome.final->axis_deg), report::axis_text(outcome.final->low_deg),
      report::axis_text(outcome.final->high_deg),
      outcome.confidence > 0.99 ? "over 99" : fmt::format("{:.0f}", 100.0 * outcome.confidence),
      outcome.rests_on_anchor ? ", resting on marks by hand" : "");
  if (outcome.deviation_deg)
    fmt::print("   deviation:  {} degrees\n", report::signed_text(*outcome.deviation_deg));
}

void show_final_change(const ComparedOutcome& first, const ComparedOutcome& second,
                       const report::OutcomeChange& change) {
  if (!change.final_deg) {
    const char* what = !first.final && !second.final ? "no final axis in either"
                       : first.final                 ? "the final axis is lost"
                                                     : "a final axis is gained";
    fmt::print("   {}\n", what);
    return;
  }
  const char* within = change.within_first && change.within_second ? "within both intervals"
                       : change.within_first  ? "within the first's interval only"
                       : change.within_second ? "within the second's interval only"
                                              : "outside of both intervals";
  fmt::print("   final axis moved by {} degrees, {}\n", report::signed_text(*change.final_deg, 2),
             within);
}

void show_change(const std::vector<ComparedOutcome>& outcomes, std::size_t number) {
  const ComparedOutcome& first = outcomes[0];
  const ComparedOutcome& second = outcomes[number];
  const report::OutcomeChange change = report::change_between(first, second);
  fmt::print("1 to {}\n", number + 1);
  show_final_change(first, second, change);
  fmt::print("   frames: {} read in both, {} newly, {} no longer\n", change.read_in_both,
             change.newly_read, change.no_longer_read);
  if (change.read_in_both > 0)
    fmt::print(
        "   in these: {:.2f} degrees apart in the middle, {:.2f} at most; intervals apart in "
        "{}\n",
        change.median_deg, change.largest_deg, change.intervals_apart);
  if (first.case_sha256 != second.case_sha256) fmt::print("   the case files differ\n");
  if (first.version != second.version || first.commit != second.commit)
    fmt::print("   the programs differ\n");
}

int run(const CompareChoice& choice) {
  std::vector<ComparedOutcome> outcomes;
  for (const std::string& folder : choice.folders)
    outcomes.push_back(report::read_compared(folder));
  refuse_mixed(outcomes);
  fmt::print("Case {}\n", one_line(outcomes[0].id));
  for (std::size_t i = 0; i < outcomes.size(); ++i) show(i + 1, outcomes[i]);
  for (std::size_t i = 1; i < outcomes.size(); ++i) show_change(outcomes, i);
  fmt::print("{}\n", outcome::caution);
  return exit_done;
}

}  // namespace

void add_compare(CLI::App& program, Chosen& chosen) {
  auto choice = std::make_shared<CompareChoice>();
  CLI::App* command =
      program.add_subcommand("compare", "Set several outcomes of one case side by side");
  command->add_option("DIR", choice->folders, "folders that rhumb analyze has written")
      ->required()
      ->expected(2, 100);
  command->footer(footer("rhumb compare review/017 review/017-by-hand"));
  command->callback([&chosen, choice] {
    chosen.run = [choice](const std::stop_token&) { return run(*choice); };
  });
}

}  // namespace rhumb::cli
