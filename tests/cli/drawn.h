// Scenes with something changed, and the tables that come of them.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

// All of a file.
std::string text_of(const std::filesystem::path& file);

// `text` with the first `from` replaced, which must be there.
std::string with(std::string text, const std::string& from, const std::string& to);

// Column `index` of a table, its first line left out.
std::vector<std::string> column(const std::filesystem::path& file, int index);
