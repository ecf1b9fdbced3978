// A folder of its own for a test, gone when it ends.
#pragma once

#include <catch2/catch.hpp>
#include <filesystem>
#include <string>

namespace rhumb::render::testing {

struct Folder {
  std::filesystem::path path;
  Folder() {
    std::string name = (std::filesystem::temp_directory_path() / "rhumb-render-XXXXXX").string();
    REQUIRE(mkdtemp(name.data()) != nullptr);
    path = name;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() { std::filesystem::remove_all(path); }
};

}  // namespace rhumb::render::testing
