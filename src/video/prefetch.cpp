#include "video/prefetch.h"

#include <algorithm>
#include <condition_variable>
#include <deque>
#include <exception>
#include <mutex>
#include <thread>
#include <utility>

namespace rhumb::video {
namespace {

constexpr std::int64_t most_waiting_bytes = std::int64_t{64} << 20;

int bounded(int most_ahead, const StreamFacts& facts) {
  const std::int64_t bytes = std::int64_t{facts.width} * facts.height * 3 / 2;
  const auto fit = static_cast<int>(most_waiting_bytes / std::max<std::int64_t>(bytes, 1));
  return std::max(1, std::min(most_ahead, fit));
}

}  // namespace

struct Prefetch::Inside {
  Inside(Reader reader_in, int most_ahead)
      : reader(std::move(reader_in)),
        opened(reader.facts()),
        capacity(static_cast<std::size_t>(bounded(most_ahead, opened))),
        thread([this](const std::stop_token& stop) { decode(stop); }) {}

  void decode(const std::stop_token& stop) {
    try {
      while (!stop.stop_requested()) {
        std::optional<Frame> frame = reader.next();
        std::unique_lock lock(mutex);
        if (!frame) {
          break;
        }
        has_room.wait(lock, stop, [this] { return waiting.size() < capacity; });
        waiting.push_back(std::move(*frame));
        has_picture.notify_one();
      }
    } catch (...) {
      const std::lock_guard lock(mutex);
      failure = std::current_exception();
    }
    const std::lock_guard lock(mutex);
    ended = true;
    has_picture.notify_one();
  }

  Reader reader;
  StreamFacts opened;
  std::size_t capacity;
  mutable std::mutex mutex;
  std::condition_variable_any has_room;
  std::condition_variable_any has_picture;
  std::deque<Frame> waiting;
  std::exception_ptr failure;
  bool ended = false;
  bool drained = false;
  std::jthread thread;  // last: it is stopped and joined before what it uses goes
};

Prefetch::Prefetch(Reader reader, int most_ahead)
    : inside_(std::make_unique<Inside>(std::move(reader), most_ahead)) {}
Prefetch::~Prefetch() = default;

std::optional<Frame> Prefetch::next() {
  Inside& in = *inside_;
  std::unique_lock lock(in.mutex);
  in.has_picture.wait(lock, [&in] { return !in.waiting.empty() || in.ended; });
  if (in.waiting.empty()) {
    if (in.failure) {
      std::rethrow_exception(std::exchange(in.failure, nullptr));
    }
    in.drained = true;
    return std::nullopt;
  }
  Frame frame = std::move(in.waiting.front());
  in.waiting.pop_front();
  in.has_room.notify_one();
  return frame;
}

StreamFacts Prefetch::facts() const {
  const std::lock_guard lock(inside_->mutex);
  // While the thread reads, the reader's counts are its own; what opening told stays true.
  return inside_->drained ? inside_->reader.facts() : inside_->opened;
}

}  // namespace rhumb::video
