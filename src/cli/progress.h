// Progress on standard error: one line that renews itself with the time left on a terminal, a plain
// line at every tenth elsewhere, nothing when quiet.
#pragma once

#include <chrono>
#include <mutex>
#include <string>

namespace rhumb::cli {

class ProgressLine {
 public:
  // `label` names the work ("case.toml").
  explicit ProgressLine(std::string label, bool quiet);
  ~ProgressLine();
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;

  // share: done part of the work, 0 to 1 (others are clamped; NaN is passed over); time_s: place in
  // the recording in seconds, negative where there is none. May be called from any thread.
  void show(double share, double time_s = -1.0);

 private:
  void show_on_terminal(double share, double time_s, double elapsed_s);
  void show_plainly(double share, double time_s);

  std::string label_;
  bool quiet_;
  bool terminal_;
  std::mutex mutex_;
  std::chrono::steady_clock::time_point start_;
  double last_drawn_s_ = -1.0;
  int last_tenth_ = 0;
  bool line_open_ = false;
};

}  // namespace rhumb::cli
