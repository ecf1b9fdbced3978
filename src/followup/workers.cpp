#include "followup/workers.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

#include "files/user_error.h"

namespace rhumb::followup {

void for_all(int count, int threads, const std::stop_token& cancel,
             const std::function<void(int)>& work) {
  std::atomic<int> next{0};
  std::exception_ptr failure;
  std::mutex guard;
  const auto loop = [&] {
    for (int i = next++; i < count; i = next++) {
      if (cancel.stop_requested()) return;
      try {
        work(i);
      } catch (...) {
        const std::lock_guard lock(guard);
        if (!failure) failure = std::current_exception();
        return;
      }
    }
  };
  std::vector<std::jthread> pool;
  for (int k = 1; k < std::min(threads, count); ++k) pool.emplace_back(loop);
  loop();
  pool.clear();
  if (failure) std::rethrow_exception(failure);
  if (cancel.stop_requested()) throw Interrupted();
}

}  // namespace rhumb::followup
