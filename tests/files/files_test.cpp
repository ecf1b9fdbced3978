#include <sys/stat.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "files/partial_file.h"
#include "files/user_error.h"

namespace fs = std::filesystem;
using rhumb::UserError;
using rhumb::files::PartialFile;
using rhumb::files::write_whole;

namespace {

struct Folder {
  fs::path path = fs::temp_directory_path() / ("rhumb-files-" + std::to_string(::getpid()));
  Folder() { fs::create_directories(path); }
  ~Folder() { fs::remove_all(path); }
  std::size_t entries() const {
    return static_cast<std::size_t>(
        std::distance(fs::directory_iterator(path), fs::directory_iterator()));
  }
};

std::string content(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

}  // namespace

TEST_CASE("an output is the earlier whole one until the new one is whole") {
  const Folder folder;
  const fs::path target = folder.path / "deep" / "result.json";
  write_whole(target, "first");
  CHECK(content(target) == "first");
  {
    const PartialFile unfinished(target);
    std::ofstream(unfinished.partial()) << "half of the sec";
    CHECK(content(target) == "first");
    CHECK(unfinished.partial().extension() == ".json");
  }
  CHECK(content(target) == "first");
  CHECK(std::distance(fs::directory_iterator(target.parent_path()), fs::directory_iterator()) == 1);
  write_whole(target, "second");
  CHECK(content(target) == "second");
}

TEST_CASE("what cannot be written is said in one line") {
  const Folder folder;
  write_whole(folder.path / "file", "x");
  CHECK_THROWS_AS(write_whole(folder.path / "file" / "below", "x"), UserError);
  CHECK_THROWS_AS(write_whole(folder.path, "x"), UserError);
  CHECK(folder.entries() == 1);
}

TEST_CASE("a full disk leaves the earlier output") {
  // /dev/full answers every write with ENOSPC; a link to it stands for the partial file's disk.
  const Folder folder;
  const fs::path target = folder.path / "table.csv";
  write_whole(target, "earlier");
  PartialFile file(target);
  fs::remove(file.partial());
  fs::create_symlink("/dev/full", file.partial());
  std::ofstream stream(file.partial());
  stream << "new" << std::flush;
  CHECK_FALSE(stream.good());
  CHECK(content(target) == "earlier");
}

TEST_CASE("messages stay on one line and on the terminal's good side") {
  const UserError error("a\nb.toml", "line 3", "bad\x1b[31m", "mend it");
  CHECK(std::string(error.what()) == "a b.toml: line 3: bad [31m; mend it");
  CHECK(rhumb::one_line("\xff\xfe") == "??");
  CHECK(rhumb::one_line("caf\xc3\xa9") == "caf\xc3\xa9");
  CHECK(rhumb::one_line("a\xe2\x80\xae"
                        "b") == "ab");  // right-to-left override
  CHECK(rhumb::one_line(std::string(1000, 'x'), 10) == "xxxxxxxxxx...");
}
