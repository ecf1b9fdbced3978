// rhumb optics as a person uses it. The sums are worked examples from outside, named beside each.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "cli/program.h"

using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

namespace {

nlohmann::json parsed(const std::string& text) { return nlohmann::json::parse(text); }

}  // namespace

TEST_CASE("optics crossed prints the sum that a public page prints") {
  // gatinel.com, addition of refractions (seen): -2.00/-2.00x180 and +1.00/-1.00x90
  const Ran ran = run_rhumb({"optics", "crossed", "-2.00/-2.00x180", "+1.00/-1.00x90"});
  CHECK(ran.status == 0);
  CHECK_THAT(ran.out, StartsWith("-2.00/-1.00x180\n"));
  const Ran json = run_rhumb({"optics", "crossed", "--json", "0/-1.00x180", "0/-2.00x45"});
  // brainscape card 9441856 (seen): -0.40/-2.24x32, from 0/-1.00x180 and 0/-2.00x45
  CHECK(parsed(json.out)["lens"]["cylinder_D"].get<double>() == Approx(-2.2361).margin(6e-5));
  CHECK(parsed(json.out)["m_D"]["value"] == -1.5);
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
  CHECK_THAT(ran.out, Contains("Best axis: 83.7 degrees (95 %: ") &&
                          Contains("-13.3 degrees (95 %:") && Contains("licensed surgeon"));
}

TEST_CASE("optics gives an interval with every dioptre and axis, and no axis without a meridian") {
  const Ran without = run_rhumb({"optics", "residual", "--json", "--cylinder", "2.25",
                                 "--deviation", "7", "--within", "1", "--eye", "1.8"});
  const auto bare = parsed(without.out);
  CHECK(bare["residual"].size() == 1);
  CHECK(bare["residual"]["cylinder_D"]["low"] < bare["residual"]["cylinder_D"]["high"]);
  const Ran with = run_rhumb({"optics", "residual", "--json", "--cylinder", "2.25", "--deviation",
                              "7", "--within", "1", "--eye", "1.8", "--steep", "90"});
  const auto whole = parsed(with.out);
  CHECK(whole["residual"]["axis_deg"]["low"] < whole["residual"]["axis_deg"]["high"]);
  CHECK(whole["loss_angle_deg"]["low"] < whole["loss_angle_deg"]["high"]);
  const Ran sum =
      run_rhumb({"optics", "crossed", "--se", "0.1", "0/-1.00x180", "0/-2.00x45", "--plus"});
  CHECK_THAT(sum.out, Contains("Axis 121.7 degrees (95 %: ") && Contains("licensed surgeon"));
}

TEST_CASE("optics' answers in JSON follow their schema") {
  if (run_command({"/usr/bin/python3", "-c", "import jsonschema"}).status != 0) {
    WARN("python3-jsonschema is not here: the schema is not checked");
    return;
  }
  const TestFolder folder;
  const auto arguments = GENERATE(values<std::vector<std::string>>({
      {"crossed", "--se", "0.1", "0/-1.00x180", "0/-2.00x45"},
      {"residual", "--cylinder", "2", "--deviation", "3"},
      {"residual", "--cylinder", "2", "--deviation", "3", "--eye", "0"},
      {"residual", "--cylinder", "2", "--deviation", "3", "--eye", "2", "--steep", "90"},
      {"rerotate", "--refraction=+0.25/-1.25x148", "--axis", "97", "--cylinder", "3.0"},
      {"rerotate", "--refraction=0", "--axis", "0", "--cylinder", "3.0", "--keratometry", "43",
       "45", "90"},
  }));
  std::vector<std::string> words{"optics"};
  words.insert(words.end(), arguments.begin(), arguments.end());
  words.emplace_back("--json");
  const Ran answer = run_rhumb(words);
  CAPTURE(arguments, answer.err);
  REQUIRE(answer.status == 0);
  const Ran checked =
      run_command({"/usr/bin/python3", RHUMB_SOURCE_DIR "/tests/cli/check_schema.py",
                   "optics.schema.json", folder.write("answer.json", answer.out).string()});
  INFO(checked.err);
  CHECK(checked.status == 0);
}

TEST_CASE("the help of each question names its formula and source") {
  const auto [name, formula, source] = GENERATE(table<std::string, std::string, std::string>({
      {"crossed", "J45 = -C/2 sin 2A", "Optom Vis Sci 1997;74:367-375"},
      {"residual", "A L cos 2d", "J Cataract Refract Surg 2011"},
      {"rerotate", "|eye - lens|", "J Cataract Refract Surg 2001;27:80-85"},
  }));
  const Ran help = run_rhumb({"optics", name, "--help"});
  CHECK_THAT(help.out,
             Contains("Formula:") && Contains(formula) && Contains(source) && Contains("--json"));
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
