#include "cli/progress.h"

#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <utility>

#include "cli/clock.h"
#include "files/user_error.h"

namespace rhumb::cli {
namespace {

constexpr double redraw_every_s = 0.2;
constexpr double estimate_from_share = 0.02;  // before that the time left is a guess

std::string place_text(double time_s) {
  return time_s < 0.0 ? std::string() : ", at " + clock_text(time_s);
}

}  // namespace

ProgressLine::ProgressLine(std::string label, bool quiet)
    : label_(std::move(label)),
      quiet_(quiet),
      terminal_(::isatty(STDERR_FILENO) == 1),
      start_(std::chrono::steady_clock::now()) {
  label_ = one_line(label_, 60);
}

ProgressLine::~ProgressLine() {
  if (line_open_) std::fputs("\r\033[K", stderr);
}

void ProgressLine::show(double share, double time_s) {
  if (quiet_ || std::isnan(share)) return;
  const std::lock_guard lock(mutex_);
  const std::chrono::duration<double> elapsed = std::chrono::steady_clock::now() - start_;
  share = std::clamp(share, 0.0, 1.0);
  if (terminal_)
    show_on_terminal(share, time_s, elapsed.count());
  else
    show_plainly(share, time_s);
}

void ProgressLine::show_on_terminal(double share, double time_s, double elapsed_s) {
  if (last_drawn_s_ >= 0.0 && elapsed_s - last_drawn_s_ < redraw_every_s && share < 1.0) return;
  last_drawn_s_ = elapsed_s;
  std::string left;
  if (share >= estimate_from_share && share < 1.0)
    left = ", " + clock_text(elapsed_s * (1.0 - share) / share) + " left";
  fmt::print(stderr, "\r\033[K{}: {:3.0f} %{}{}", label_, 100.0 * share, place_text(time_s), left);
  std::fflush(stderr);
  line_open_ = true;
}

void ProgressLine::show_plainly(double share, double time_s) {
  const int tenth = static_cast<int>(10.0 * share);
  if (tenth <= last_tenth_) return;
  last_tenth_ = tenth;
  fmt::print(stderr, "{}: {} %{}\n", label_, 10 * tenth, place_text(time_s));
}

}  // namespace rhumb::cli
