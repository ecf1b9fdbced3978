// Where the practice clips lie, for tests that use them; they are no part of the project.
#pragma once

#include <cstdlib>
#include <filesystem>
#include <iostream>
#include <optional>

// The folder `name` of the clips ("practice"), in $RHUMB_CLIPS or in ../shared/clips beside the
// project. Empty, and said so, where it is not there: the test then has nothing to do and returns.
inline std::optional<std::filesystem::path> clips(const std::filesystem::path& name) {
  const char* given = std::getenv("RHUMB_CLIPS");
  const std::filesystem::path root =
      given != nullptr ? std::filesystem::path(given)
                       : std::filesystem::path(RHUMB_SOURCE_DIR).parent_path() / "shared" / "clips";
  std::error_code ignored;
  if (std::filesystem::is_directory(root / name, ignored)) return root / name;
  std::cout << "skipped: no practice clips at " << (root / name).string() << "\n";
  return std::nullopt;
}
