// A scored clip on disk, so that a suite can go on where it was stopped.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "validate/score.h"

namespace rhumb::validate {

// `key` names everything that the score depends on: program version and scene. A file with another
// key, or one that cannot be read, counts as absent.
std::optional<ClipScore> read_clip(const std::filesystem::path& file, const std::string& key);
void write_clip(const std::filesystem::path& file, const std::string& key, const ClipScore& score);

}  // namespace rhumb::validate
