// The program's entrance: picks the command, turns what goes wrong into one line and an exit
// status.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <exception>
#include <new>
#include <string>

#include "cli/cancel.h"
#include "cli/command.h"
#include "files/user_error.h"
#include "outcome/caution.h"

namespace rhumb::cli {

std::string footer(const std::string& example) {
  return "Example:\n  " + example + "\n\n" + outcome::caution;
}

namespace {

// The program's own help is a table of commands; CLI11's layout would not fit twenty lines.
class ShortHelp : public CLI::Formatter {
 public:
  std::string make_help(const CLI::App* app, std::string name,
                        CLI::AppFormatMode mode) const override {
    if (app->get_parent() != nullptr) return CLI::Formatter::make_help(app, name, mode);
    std::string text = app->get_description() + "\n\nUsage: rhumb COMMAND ...\n\n";
    for (const CLI::App* command : app->get_subcommands({}))
      text += fmt::format("  {:<10} {}\n", command->get_name(), command->get_description());
    text +=
        "\n'rhumb COMMAND --help' explains a command; 'rhumb --version' says which version this "
        "is.\n";
    return text + "\n" + app->get_footer() + "\n";
  }
};

// In the order in which a user meets them.
void add_commands(CLI::App& program, Chosen& chosen) {
  add_new(program, chosen);
  add_analyze(program, chosen);
  add_followup(program, chosen);
  add_optics(program, chosen);
  add_compare(program, chosen);
  add_grade(program, chosen);
  add_render(program, chosen);
  add_validate(program, chosen);
}

int complain(const std::string& message, int status) {
  fmt::print(stderr, "rhumb: {}\n", one_line(message, 2000));
  return status;
}

int parse_failure(const CLI::App& program, const CLI::ParseError& error) {
  if (error.get_exit_code() == 0) return program.exit(error);  // help and version are no errors
  return complain(
      std::string(error.what()) + "; 'rhumb --help' and 'rhumb COMMAND --help' show the use",
      exit_unusable);
}

int run(int argc, char** argv) {
  SignalWatch signals;
  Chosen chosen;
  CLI::App program(
      "Reads the axis of toric intraocular lenses off recordings of operations, afterwards.",
      "rhumb");
  program.formatter(std::make_shared<ShortHelp>());
  program.set_version_flag("--version", std::string("rhumb ") + RHUMB_VERSION);
  program.require_subcommand(1);
  program.footer(
      footer("rhumb new cases/017 && rhumb analyze cases/017/case.toml --out review/017"));
  add_commands(program, chosen);
  try {
    program.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return parse_failure(program, error);
  }
  return chosen.run ? chosen.run(signals.token()) : exit_unusable;
}

}  // namespace
}  // namespace rhumb::cli

int main(int argc, char** argv) {
  using namespace rhumb::cli;
  try {
    return run(argc, argv);
  } catch (const rhumb::Interrupted&) {
    return complain("interrupted; nothing half-written is left", exit_interrupted);
  } catch (const rhumb::UserError& error) {
    return complain(error.what(), exit_unusable);
  } catch (const std::bad_alloc&) {
    return complain("not enough memory for this input; close other programs or give a smaller file",
                    exit_unusable);
  } catch (const std::exception& error) {
    return complain(std::string("fault in the program (please report it): ") + error.what(),
                    exit_unusable);
  }
}
