// Running the built program and other commands as a user does.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

struct Ran {
  int status = -1;  // exit status, or 1000 + signal
  std::string out;
  std::string err;
  std::size_t out_lines() const;
  std::size_t err_lines() const;
};

// Runs the program with these arguments. `while_running` is called with its process id once the
// program watches for signals, unless it has ended by then.
Ran run_rhumb(const std::vector<std::string>& arguments,
              const std::function<void(int pid)>& while_running = {});

// A command of the machine, found by PATH.
Ran run_command(const std::vector<std::string>& arguments);

// The names of the commands that this build has.
std::vector<std::string> command_names();
bool has_command(const std::string& name);

// A folder of its own for a test, removed at the end.
class TestFolder {
 public:
  TestFolder();
  ~TestFolder();
  TestFolder(const TestFolder&) = delete;
  TestFolder& operator=(const TestFolder&) = delete;
  const std::filesystem::path& path() const { return path_; }
  std::filesystem::path write(const std::string& name, const std::string& content) const;
  std::size_t entries(const std::string& below = ".") const;  // 0 when it is not there

 private:
  std::filesystem::path path_;
};

// Records `seconds` of a moving test picture with ffmpeg; false, and said so, where there is no
// ffmpeg.
bool record_test_picture(const std::filesystem::path& file, int seconds, const std::string& size);
