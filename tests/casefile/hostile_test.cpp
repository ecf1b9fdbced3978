// Nothing that a file can hold crashes, hangs or takes two lines.
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <random>

#include "casefile/texts.h"

using namespace casefile_texts;
using Catch::Matchers::Contains;
namespace fs = std::filesystem;

namespace {

class Folder {
 public:
  Folder() : path_(fs::temp_directory_path() / ("rhumb-casefile-" + std::to_string(::getpid()))) {
    fs::create_directories(path_);
  }
  ~Folder() { fs::remove_all(path_); }
  fs::path write(const std::string& name, const std::string& content) const {
    std::ofstream(path_ / name, std::ios::binary) << content;
    return path_ / name;
  }
  const fs::path& path() const { return path_; }

 private:
  fs::path path_;
};

std::string read_complaint(const fs::path& file) {
  try {
    rhumb::casefile::read_case(file);
  } catch (const rhumb::UserError& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("random damage to a valid file is refused in one line or accepted") {
  std::mt19937 random(20260514);
  std::size_t refused = 0;
  for (int round = 0; round < 3000; ++round) {
    std::string text = round % 2 == 0 ? whole_case : whole_series;
    const int edits = 1 + static_cast<int>(random() % 6);
    for (int i = 0; i < edits; ++i) {
      const std::size_t at = random() % text.size();
      const std::size_t length = random() % 9;
      if (random() % 3 == 0)
        text.erase(at, length);
      else if (random() % 2 == 0)
        text.insert(at, text.substr(random() % text.size(), length));
      else
        text[at] = static_cast<char>(random() % 256);
    }
    const std::string line = round % 2 == 0 ? complaint(text) : series_complaint(text);
    REQUIRE(std::none_of(line.begin(), line.end(),
                         [](char c) { return static_cast<unsigned char>(c) < 0x20; }));
    if (line != "accepted") ++refused;
  }
  CHECK(refused > 1500);  // and not everything is refused:
  CHECK(refused < 3000);
}

TEST_CASE("deep nesting and long keys end in a line") {
  CHECK_THAT(complaint("a = " + std::string(100000, '[')), Contains("not TOML"));
  CHECK_THAT(complaint(std::string(100000, 'k') + " = 1"), Contains("unknown key"));
  CHECK(complaint("\"\\u001b[31m\" = 1").find('\x1b') == std::string::npos);
  std::string dotted = "a";
  for (int i = 0; i < 20000; ++i) dotted += ".a";
  CHECK(complaint(dotted + " = 1") != "accepted");
}

TEST_CASE("what is not a case file on the disk is refused") {
  const Folder folder;
  CHECK_THAT(read_complaint(folder.path() / "no.toml"), Contains("no such file"));
  CHECK_THAT(read_complaint(folder.path()), Contains("is a folder"));
  CHECK_THAT(read_complaint("/dev/zero"), Contains("not an ordinary file"));
  CHECK_THAT(read_complaint(folder.write("empty.toml", "")), Contains("[case] is missing"));
  CHECK_THAT(read_complaint(folder.write("big.toml", std::string(5 << 20, '#'))),
             Contains("above the 4194304"));
  CHECK_THAT(read_complaint(folder.write("case.toml", whole_case)),
             Contains("line 8, column 12, video.file") && Contains("\"video.mp4\" is not there"));
  fs::create_directory(folder.path() / "video.mp4");
  CHECK_THAT(read_complaint(folder.path() / "case.toml"), Contains("\"video.mp4\" is a folder"));
  fs::remove(folder.path() / "video.mp4");
  folder.write("video.mp4", "not a recording, which is the video room's matter");
  CHECK(read_complaint(folder.path() / "case.toml") == "accepted");
}
