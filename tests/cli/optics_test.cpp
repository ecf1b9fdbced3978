// rhumb optics as a person uses it. The sums are worked examples from outside, named beside each.
#include <catch2/catch.hpp>

#include "cli/program.h"

using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

TEST_CASE("optics crossed prints the sum that a public page prints") {
  // gatinel.com, addition of refractions (seen): -2.00/-2.00x180 and +1.00/-1.00x90
  const Ran ran = run_rhumb({"optics", "crossed", "-2.00/-2.00x180", "+1.00/-1.00x90"});
  CHECK(ran.status == 0);
  CHECK_THAT(ran.out, StartsWith("-2.00/-1.00x180\n"));
  const Ran json = run_rhumb({"optics", "crossed", "--json", "0/-1.00x180", "0/-2.00x45"});
  CHECK_THAT(json.out, Contains("\"m_D\": -1.5"));
}

TEST_CASE("optics residual gives the third that is left at 10 degrees") {
  // Equal powers: Felipe et al. 2011 (seen): 0.347 of the cylinder; here of the lens's effect.
  const Ran ran = run_rhumb({"optics", "residual", "--cylinder", "3", "--deviation", "-10"});
  CHECK(ran.status == 0);
  CHECK_THAT(ran.out, Contains("Cylinder left: 0.75 D") && Contains("30.0 degrees") &&
                          Contains("licensed surgeon"));
}

TEST_CASE("optics rerotate says which way and how sure") {
  const Ran ran = run_rhumb({"optics", "rerotate", "--refraction=+0.25/-1.25x148", "--axis", "97",
                             "--cylinder", "3.0", "--within", "1"});
  CHECK(ran.status == 0);
  CHECK_THAT(ran.out, Contains("Best axis: 83.7 degrees") && Contains("-13.3 degrees (95 %:") &&
                          Contains("licensed surgeon"));
}

TEST_CASE("optics refuses what is no refraction in one line") {
  const auto arguments = GENERATE(values<std::vector<std::string>>({
      {"optics"},
      {"optics", "crossed", "-2.00/-2.00x180"},
      {"optics", "crossed", "0/-1.00x180", "0/-1.00x200"},
      {"optics", "residual", "--cylinder", "nan", "--deviation", "3"},
      {"optics", "residual", "--cylinder", "2", "--deviation", "100"},
      {"optics", "rerotate", "--refraction=abc", "--axis", "97", "--cylinder", "3"},
      {"optics", "rerotate", "--refraction=1", "--axis", "97", "--cylinder", "3", "--keratometry",
       "46", "43", "90"},
  }));
  const Ran ran = run_rhumb(arguments);
  CAPTURE(arguments.back());
  CHECK(ran.status == 2);
  CHECK(ran.out.empty());
  CHECK(ran.err_lines() == 1);
}
