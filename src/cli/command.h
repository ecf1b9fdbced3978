// How a command joins the program.
//
// Each command lives in cmd_NAME.cpp and defines `void add_NAME(CLI::App& program, Chosen&
// chosen)`. It adds its subcommand and options (kept in a shared_ptr that the callback holds) and
// sets `chosen.run`:
//
//   void add_optics(CLI::App& program, Chosen& chosen) {
//     auto options = std::make_shared<Options>();
//     CLI::App* command = program.add_subcommand("optics", "What a turn does to the refraction");
//     command->add_option("CASE", options->file, "case file")->required();
//     command->footer(footer("rhumb optics case.toml"));
//     command->callback([&chosen, options] {
//       chosen.run = [options](const std::stop_token& cancel) { return run(*options, cancel); };
//     });
//   }
//
// Commands return an exit status; they throw UserError for unusable input (exit 2) and Interrupted
// when `cancel` was set (exit 130). They write results to files or standard output, messages to
// standard error.
#pragma once

#include <functional>
#include <stop_token>
#include <string>

namespace CLI {  // NOLINT(readability-identifier-naming): the library's own name
class App;
}

namespace rhumb::cli {

inline constexpr int exit_done = 0;
inline constexpr int exit_nothing_measured = 1;  // the input was read but no axis could be measured
inline constexpr int exit_unusable = 2;          // wrong use or unusable input
inline constexpr int exit_interrupted = 130;

struct Chosen {
  std::function<int(const std::stop_token& cancel)> run;
};

// The closing lines of a command's help: an example and the caution.
std::string footer(const std::string& example);

void add_analyze(CLI::App& program, Chosen& chosen);
void add_followup(CLI::App& program, Chosen& chosen);
void add_render(CLI::App& program, Chosen& chosen);
void add_validate(CLI::App& program, Chosen& chosen);
void add_grade(CLI::App& program, Chosen& chosen);
void add_optics(CLI::App& program, Chosen& chosen);
void add_compare(CLI::App& program, Chosen& chosen);
void add_new(CLI::App& program, Chosen& chosen);

}  // namespace rhumb::cli
