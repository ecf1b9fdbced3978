// Runs a body for each index on several threads; the result can't depend on their number as long as
// each index writes only its own place.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace rhumb::analyze {

template <typename Body>
void for_each_index(std::size_t count, int threads, const Body& body) {
  if (threads <= 1 || count < 2) {
    for (std::size_t index = 0; index < count; ++index) body(index);
    return;
  }
  std::atomic<std::size_t> next{0};
  std::exception_ptr failure;
  std::mutex guard;
  const auto work = [&] {
    for (std::size_t index = next++; index < count; index = next++) {
      try {
        body(index);
      } catch (...) {
        const std::lock_guard lock(guard);
        if (!failure) failure = std::current_exception();
        next = count;
      }
    }
  };
  std::vector<std::thread> pool;
  for (int k = 1; k < threads; ++k) pool.emplace_back(work);
  work();
  for (std::thread& thread : pool) thread.join();
  if (failure) std::rethrow_exception(failure);
}

}  // namespace rhumb::analyze
