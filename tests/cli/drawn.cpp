#include "cli/drawn.h"

#include <catch2/catch.hpp>
#include <fstream>
#include <sstream>

std::string text_of(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

std::string with(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

std::vector<std::string> column(const std::filesystem::path& file, int index) {
  std::istringstream lines(text_of(file));
  std::vector<std::string> out;
  std::string line;
  std::getline(lines, line);
  while (std::getline(lines, line)) {
    std::istringstream fields(line);
    std::string field;
    for (int k = 0; k <= index; ++k) std::getline(fields, field, ',');
    out.push_back(field);
  }
  return out;
}

DrawnCase read_drawn(const TestFolder& folder, const std::string& scene, const std::string& size,
                     bool axis_expected) {
  const auto file = folder.write("scene.toml", scene);
  DrawnCase made{(folder.path() / "drawn").string(), (folder.path() / "out").string()};
  REQUIRE(run_rhumb({"render", file.string(), "--out", made.drawn, "--size", size}).status == 0);
  const Ran ran =
      run_rhumb({"analyze", made.drawn + "/case.toml", "--out", made.out, "--no-review"});
  INFO(ran.out << ran.err);
  REQUIRE((ran.status == 0 || (ran.status == 1 && !axis_expected)));
  return made;
}
