// Ctrl-C and SIGTERM as a std::stop_token that commands hand to their work.
#pragma once

#include <atomic>
#include <stop_token>
#include <thread>

namespace rhumb::cli {

// Make it first thing in main, before other threads: it blocks SIGINT and SIGTERM for all of them
// and waits for them on a thread of its own. The first signal requests the stop; a third one ends
// the program at once with 130, for work that does not listen.
class SignalWatch {
 public:
  SignalWatch();
  ~SignalWatch();
  SignalWatch(const SignalWatch&) = delete;
  SignalWatch& operator=(const SignalWatch&) = delete;

  std::stop_token token() const { return source_.get_token(); }

 private:
  void watch();

  std::stop_source source_;
  std::atomic<bool> done_ = false;
  std::thread thread_;
};

}  // namespace rhumb::cli
