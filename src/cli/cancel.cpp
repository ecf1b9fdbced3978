#include "cli/cancel.h"

#include <pthread.h>
#include <unistd.h>

#include <csignal>

#include "cli/command.h"

namespace rhumb::cli {
namespace {

sigset_t watched_signals() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGTERM);
  return set;
}

}  // namespace

SignalWatch::SignalWatch() {
  const sigset_t set = watched_signals();
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
  thread_ = std::thread([this] { watch(); });
}

SignalWatch::~SignalWatch() {
  done_ = true;
  pthread_kill(thread_.native_handle(), SIGINT);  // wakes the waiting thread; nobody else sees it
  thread_.join();
}

void SignalWatch::watch() {
  const sigset_t set = watched_signals();
  constexpr int patience = 3;
  for (int seen = 0; seen < patience;) {
    int number = 0;
    if (sigwait(&set, &number) != 0) continue;
    if (done_) return;
    source_.request_stop();
    ++seen;
  }
  ::_exit(exit_interrupted);
}

}  // namespace rhumb::cli
