#include "cli/program.h"

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <csignal>
#include <fstream>
#include <iostream>
#include <iterator>
#include <sstream>
#include <stdexcept>
#include <thread>

extern char** environ;

namespace fs = std::filesystem;

namespace {

std::size_t lines(const std::string& text) {
  return static_cast<std::size_t>(std::count(text.begin(), text.end(), '\n'));
}

std::string content(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

int start(const std::vector<std::string>& words, const fs::path& out, const fs::path& err) {
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
  constexpr int flags = O_WRONLY | O_CREAT | O_TRUNC;
  posix_spawn_file_actions_addopen(&actions, 1, out.c_str(), flags, 0600);
  posix_spawn_file_actions_addopen(&actions, 2, err.c_str(), flags, 0600);
  pid_t pid = 0;
  const int failed = posix_spawnp(&pid, arguments[0], &actions, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  return failed == 0 ? pid : -1;
}

// Until the process holds back SIGINT for its watch, or has ended.
void wait_for_watch(int pid) {
  const fs::path status = "/proc/" + std::to_string(pid) + "/status";
  constexpr auto pause = std::chrono::milliseconds(5);
  for (int i = 0; i < 12000; ++i) {
    std::ifstream lines_of_status(status);
    for (std::string line; std::getline(lines_of_status, line);) {
      if (line.starts_with("State:") && line.find('Z') != std::string::npos) return;
      if (!line.starts_with("SigBlk:")) continue;
      if ((std::stoull(line.substr(7), nullptr, 16) >> (SIGINT - 1) & 1U) != 0) return;
    }
    std::this_thread::sleep_for(pause);
  }
}

Ran run(const std::vector<std::string>& words, const std::function<void(int)>& while_running) {
  const TestFolder folder;
  const fs::path out = folder.path() / "out";
  const fs::path err = folder.path() / "err";
  const int pid = start(words, out, err);
  if (pid < 0) return {};
  int state = 0;
  pid_t ended = 0;
  if (while_running) {
    wait_for_watch(pid);
    ended = ::waitpid(pid, &state, WNOHANG);
    if (ended == 0) while_running(pid);
  }
  if (ended == 0) ::waitpid(pid, &state, 0);
  const int status = WIFEXITED(state) ? WEXITSTATUS(state) : 1000 + WTERMSIG(state);
  return {status, content(out), content(err)};
}

}  // namespace

std::size_t Ran::out_lines() const { return lines(out); }
std::size_t Ran::err_lines() const { return lines(err); }

Ran run_rhumb(const std::vector<std::string>& arguments,
              const std::function<void(int)>& while_running) {
  std::vector<std::string> words = {RHUMB_PROGRAM};
  words.insert(words.end(), arguments.begin(), arguments.end());
  return run(words, while_running);
}

Ran run_command(const std::vector<std::string>& arguments) { return run(arguments, {}); }

std::vector<std::string> command_names() {
  std::vector<std::string> names;
  std::istringstream help(run_rhumb({"--help"}).out);
  for (std::string line; std::getline(help, line);) {
    if (!line.starts_with("  ") || line.starts_with("  rhumb")) continue;
    names.push_back(line.substr(2, line.find(' ', 2) - 2));
  }
  return names;
}

bool has_command(const std::string& name) {
  const std::vector<std::string> names = command_names();
  return std::find(names.begin(), names.end(), name) != names.end();
}

TestFolder::TestFolder() {
  std::string pattern = (fs::temp_directory_path() / "rhumb-test-XXXXXX").string();
  if (::mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
  path_ = pattern;
}

TestFolder::~TestFolder() {
  std::error_code ignored;
  fs::remove_all(path_, ignored);
}

fs::path TestFolder::write(const std::string& name, const std::string& text) const {
  fs::create_directories((path_ / name).parent_path());
  std::ofstream(path_ / name, std::ios::binary) << text;
  return path_ / name;
}

std::size_t TestFolder::entries(const std::string& below) const {
  std::error_code error;
  std::size_t count = 0;
  for (const auto& entry : fs::recursive_directory_iterator(path_ / below, error)) {
    static_cast<void>(entry);
    ++count;
  }
  return count;
}

bool record_test_picture(const fs::path& file, int seconds, const std::string& size) {
  const std::string source =
      "testsrc2=size=" + size + ":rate=25:duration=" + std::to_string(seconds);
  const Ran ran = run_command({"ffmpeg", "-v", "error", "-y", "-f", "lavfi", "-i", source, "-c:v",
                               "mpeg4", "-q:v", "5", file.string()});
  if (ran.status == 0) return true;
  std::cout << "skipped: ffmpeg could not record a test picture\n";
  return false;
}
