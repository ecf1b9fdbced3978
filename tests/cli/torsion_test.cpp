// A dark iris with little texture that turns by eight degrees between two pictures: what stands
// still (lids, wires, the fall of light) must not hold the tracker back.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "cli/drawn.h"
#include "cli/program.h"

TEST_CASE("a dark eye's jump is followed at once", "[long]") {
  const TestFolder folder;
  const std::string scene = text_of(std::string(RHUMB_FIXTURES) + "/scenes/torsion-jump.toml");
  const DrawnCase made = read_drawn(
      folder, with(scene, "iris  = \"hazel\"", "iris = \"dark-brown\""), "640x360", false);
  const auto said = column(made.out + "/timeline.csv", 6);
  const auto is = column(made.drawn + "/truth.csv", 6);
  REQUIRE(said.size() == is.size());
  std::vector<double> errors;
  for (std::size_t k = 0; k < is.size(); ++k) {
    if (said[k].empty()) continue;
    errors.push_back(std::remainder(std::stod(said[k]) - std::stod(is[k]), 360.0));
  }
  REQUIRE(errors.size() > is.size() - 5);
  // One constant is the reference's.
  std::vector<double> sorted = errors;
  std::sort(sorted.begin(), sorted.end());
  const double middle = sorted[sorted.size() / 2];
  for (const double error : errors) CHECK(std::abs(error - middle) < 0.5);
}
