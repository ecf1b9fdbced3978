// Scenes with something changed, and the tables that come of them.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "cli/program.h"

// All of a file.
std::string text_of(const std::filesystem::path& file);

// `text` with the first `from` replaced, which must be there.
std::string with(std::string text, const std::string& from, const std::string& to);

// Column `index` of a table, its first line left out.
std::vector<std::string> column(const std::filesystem::path& file, int index);

// A scene drawn into `folder` and analysed there without a review; status 0, or 1 where no axis can
// be expected.
struct DrawnCase {
  std::string drawn;  // folder of the case and its truth
  std::string out;    // of what the program says
};
DrawnCase read_drawn(const TestFolder& folder, const std::string& scene, const std::string& size,
                     bool axis_expected = true);
