// A drawn exchange of two lenses whose marks are alike, from its scene to the outcome.
#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>

#include "cli/drawn.h"
#include "cli/program.h"

TEST_CASE("two lenses whose marks are alike are told apart by the gap between them", "[long]") {
  const TestFolder folder;
  const std::string scene = text_of(std::string(RHUMB_FIXTURES) + "/scenes/exchange.toml");
  const DrawnCase made =
      read_drawn(folder, with(scene, "marks    = \"lines\"", "marks = \"dots\"\nmarks_per_end = 2"),
                 "960x540");
  const auto result = nlohmann::json::parse(text_of(made.out + "/result.json"));
  const auto truth = nlohmann::json::parse(text_of(made.drawn + "/truth.json"));
  const double error = std::remainder(
      result["final"]["axis_deg"].get<double>() - truth["final_axis_deg"].get<double>(), 180.0);
  CHECK(std::abs(error) < 0.5);
  // The lens column is right wherever the drawing shows an eye without a lens, or a lens whose
  // marks can be seen: one that is folded or pulled out shows none. A new lens taken for the
  // previous one, or the other way round, costs two fifths of the rows.
  const auto said = column(made.out + "/timeline.csv", 2);
  const auto is = column(made.drawn + "/truth.csv", 2);
  const auto readable = column(made.drawn + "/truth.csv", 8);
  REQUIRE(said.size() == is.size());
  REQUIRE(readable.size() == is.size());
  int right = 0;
  int rows = 0;
  for (std::size_t k = 0; k < is.size(); ++k) {
    if (is[k] != "none" && std::stod(readable[k]) <= 0.0) continue;
    ++rows;
    right += said[k] == is[k] ? 1 : 0;
  }
  CHECK(right > 0.94 * rows);
  std::map<std::string, int> count;
  for (const std::string& lens : said) ++count[lens];
  CHECK(count["previous"] > 100);
  CHECK(count["new"] > 100);
}

TEST_CASE("a plan against the previous lens is kept to with every kind of reference", "[long]") {
  struct Tied {
    const char* kind;
    bool previous_axis_known;
    bool axes_tied;  // in the eye's meridians, or against the previous lens, as the truth's are
  };
  const auto tied = GENERATE(Tied{"photo", false, true}, Tied{"ink", false, true},
                             Tied{"previous-lens", true, true}, Tied{"previous-lens", false, true},
                             Tied{"none", false, false});
  const std::string kind = tied.kind;
  const TestFolder folder;
  std::string scene = with(text_of(std::string(RHUMB_FIXTURES) + "/scenes/exchange.toml"),
                           "kind = \"previous-lens\"", "kind = \"" + kind + "\"");
  if (!tied.previous_axis_known)
    scene = with(scene, "previous_axis_known = true", "previous_axis_known = false");
  if (kind == "ink") scene += "\n[ink]\nmeridians_deg = [0.0, 180.0]\n";
  const DrawnCase made = read_drawn(folder, scene, "960x540");
  const auto result = nlohmann::json::parse(text_of(made.out + "/result.json"));
  const auto truth = nlohmann::json::parse(text_of(made.drawn + "/truth.json"));
  INFO(tied.kind << ": " << result["final"].dump());
  const auto deviation = result["final"]["deviation_deg"].get<double>();
  CHECK(std::abs(deviation - truth["final_deviation_deg"].get<double>()) < 0.5);
  if (!tied.axes_tied) return;
  const double off =
      result["final"]["axis_deg"].get<double>() - truth["final_axis_deg"].get<double>();
  CHECK(std::abs(std::remainder(off, 180.0)) < 0.5);
}
