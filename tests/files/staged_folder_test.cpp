// Folders of outputs that change as a whole, whatever happens to the process.
#include "files/staged_folder.h"

#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <random>
#include <thread>

#include "files/partial_file.h"
#include "files/user_error.h"

namespace fs = std::filesystem;
using rhumb::UserError;
using rhumb::files::StagedFolder;
using rhumb::files::write_whole;

namespace {

const std::vector<std::string> owned = {"a.csv", "b.html", "more", "result.json"};

struct Place {
  fs::path path = fs::temp_directory_path() / ("rhumb-staged-" + std::to_string(::getpid()));
  Place() { fs::create_directories(path); }
  ~Place() { fs::remove_all(path); }
};

std::string content(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

void write_run(const fs::path& folder, const std::string& text) {
  StagedFolder staged(folder);
  staged.begin();
  write_whole(staged.staging() / "a.csv", text);
  write_whole(staged.staging() / "b.html", text);
  fs::create_directory(staged.staging() / "more");
  write_whole(staged.staging() / "more" / "c.png", text);
  write_whole(staged.staging() / "result.json", text);
  staged.commit(owned, "result.json");
}

// The text that all files of a run hold; empty where they differ or one is not there.
std::string run_in(const fs::path& folder) {
  const std::string text = content(folder / "result.json");
  for (const char* name : {"a.csv", "b.html", "more/c.png"})
    if (content(folder / name) != text) return {};
  return text;
}

std::size_t entries(const fs::path& folder) {
  return static_cast<std::size_t>(std::distance(fs::directory_iterator(folder), {}));
}

}  // namespace

TEST_CASE("a run replaces the earlier one and leaves other people's files") {
  const Place place;
  const fs::path out = place.path / "out";
  write_run(out, "first");
  write_whole(out / "mine.txt", "mine");
  fs::create_symlink("nowhere", out / "link");
  ::chmod(out.c_str(), 02750);
  write_run(out, "second");
  CHECK(run_in(out) == "second");
  CHECK(content(out / "mine.txt") == "mine");
  CHECK(fs::is_symlink(out / "link"));
  struct stat found {};
  REQUIRE(::stat(out.c_str(), &found) == 0);
  CHECK((found.st_mode & 07777U) == 02750U);
  CHECK(entries(place.path) == 1);  // nothing is left beside it
  {
    StagedFolder staged(out);  // a run that makes less leaves nothing of the one before
    staged.begin();
    write_whole(staged.staging() / "result.json", "third");
    staged.commit(owned, "result.json");
  }
  CHECK(content(out / "result.json") == "third");
  CHECK(entries(out) == 3);
}

TEST_CASE("where folders of other people lie in the target, outputs are moved one by one") {
  const Place place;
  const fs::path out = place.path / "out";
  write_run(out, "first");
  fs::create_directories(out / "photographs" / "old");
  write_run(out, "second");
  CHECK(run_in(out) == "second");
  CHECK(fs::is_directory(out / "photographs" / "old"));
  CHECK(entries(place.path) == 1);
  CHECK(entries(out) == 5);
}

TEST_CASE("a run that stands in its target, or reaches it by a link, writes all the same") {
  const Place place;
  const fs::path out = place.path / "out";
  fs::create_directory(out);
  fs::create_directory_symlink("out", place.path / "link");
  write_run(place.path / "link", "first");
  CHECK(fs::is_symlink(place.path / "link"));
  const fs::path before = fs::current_path();
  fs::current_path(out);
  write_run(".", "second");
  std::error_code gone;
  CHECK(fs::current_path(gone) == fs::canonical(out));
  fs::current_path(before);
  CHECK(run_in(out) == "second");
}

TEST_CASE("two runs do not write into one folder, and the loser leaves nothing") {
  const Place place;
  const fs::path out = place.path / "out";
  StagedFolder first(out);
  first.begin();
  StagedFolder second(out);
  CHECK_THROWS_AS(second.begin(), UserError);
  CHECK(entries(place.path) == 2);  // the target and the first's staging folder
}

TEST_CASE(
    "of many runs that start at once in a new place some write, and none takes it from another") {
  const Place place;
  const fs::path out = place.path / "out";
  std::vector<pid_t> runs;
  for (int run = 0; run < 4; ++run) {
    runs.push_back(::fork());
    REQUIRE(runs.back() >= 0);
    if (runs.back() != 0) continue;
    for (int round = 0; round < 400; ++round) {
      try {
        StagedFolder staged(out);
        staged.begin();
        for (const std::string& name : owned) std::ofstream(staged.staging() / name) << run;
        if (content(staged.staging() / owned.back()).empty()) ::_exit(1);
        // Without a commit the folder goes again, which must not hit the others.
        if (round > 300) staged.commit(owned, owned.back());
      } catch (const UserError& error) {
        if (std::string(error.what()).find("another run") == std::string::npos) ::_exit(2);
      }
    }
    ::_exit(0);
  }
  for (const pid_t run : runs) {
    int status = 0;
    REQUIRE(::waitpid(run, &status, 0) == run);
    CHECK(status == 0);
  }
  CHECK(entries(place.path) == 1);
  CHECK(entries(out) == owned.size());
}

TEST_CASE("what killed runs have left is removed by the next") {
  const Place place;
  const fs::path out = place.path / "out";
  fs::create_directories(place.path / ".out.rhumb-partial-1");
  fs::create_directories(out / ".rhumb-partial-1");
  fs::create_directories(place.path / ".outer.rhumb-partial-1");
  write_run(out, "x");
  CHECK(entries(place.path) == 2);
  CHECK(entries(out) == 4);
}

TEST_CASE("killed at any moment a run leaves the earlier whole outputs or the new whole ones") {
  const Place place;
  const fs::path out = place.path / "out";
  write_run(out, "0");
  write_whole(out / "mine.txt", "mine");
  // The moments lie within what a process of five runs takes here, however slow the disk is.
  const auto started = std::chrono::steady_clock::now();
  const pid_t timed = ::fork();
  if (timed == 0) {
    for (int run = 0; run < 5; ++run) write_run(out, "0");
    ::_exit(0);
  }
  int ended = 0;
  REQUIRE(::waitpid(timed, &ended, 0) == timed);
  REQUIRE(ended == 0);
  const std::chrono::duration<double> five_runs = std::chrono::steady_clock::now() - started;
  std::mt19937 random(20260514);
  std::uniform_real_distribution<double> moment(0, five_runs.count());
  int changed = 0;
  std::string last = "0";
  for (int round = 0; round < 100; ++round) {
    const pid_t child = ::fork();
    if (child == 0) {  // writes run after run until it is killed
      try {
        for (int run = 0;; ++run) write_run(out, std::to_string(round) + "-" + std::to_string(run));
      } catch (...) {
        ::_exit(1);
      }
    }
    std::this_thread::sleep_for(std::chrono::duration<double>(moment(random)));
    ::kill(child, SIGKILL);
    int state = 0;
    ::waitpid(child, &state, 0);
    REQUIRE(WIFSIGNALED(state));
    const std::string found = run_in(out);
    REQUIRE_FALSE(found.empty());
    REQUIRE(content(out / "mine.txt") == "mine");
    if (found != last) ++changed;
    last = found;
  }
  CHECK(changed > 0);  // or nothing was tried
  write_run(out, "end");
  CHECK(entries(place.path) == 1);
}
