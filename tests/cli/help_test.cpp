// The help texts and the wrong uses that a person meets first.
#include <catch2/catch.hpp>

#include "cli/program.h"

using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

TEST_CASE("the program's help fits twenty lines and carries the caution") {
  const Ran ran = run_rhumb({"--help"});
  CHECK(ran.status == 0);
  CHECK(ran.err.empty());
  CHECK(ran.out_lines() <= 20);
  CHECK_THAT(ran.out, Contains("Example:") && Contains("For review after surgery"));
  CHECK(command_names().size() >= 1);
}

TEST_CASE("every command's help has an example and the caution") {
  for (const std::string& name : command_names()) {
    const Ran ran = run_rhumb({name, "--help"});
    INFO(name);
    CHECK(ran.status == 0);
    CHECK_THAT(ran.out,
               Contains("Example:\n  rhumb " + name) && Contains("For review after surgery"));
  }
}

TEST_CASE("the version is the project's") {
  CHECK_THAT(run_rhumb({"--version"}).out, StartsWith("rhumb " RHUMB_VERSION));
}

TEST_CASE("wrong use is one line and status 2") {
  const auto arguments = GENERATE(values<std::vector<std::string>>({
      {},
      {"anlyze"},
      {"--no-such-option"},
      {"new"},
      {"new", "a", "b"},
      {"new", "--no-such-option", "a"},
  }));
  const Ran ran = run_rhumb(arguments);
  CHECK(ran.status == 2);
  CHECK(ran.out.empty());
  CHECK(ran.err_lines() == 1);
  CHECK_THAT(ran.err, StartsWith("rhumb: ") && Contains("--help"));
}
