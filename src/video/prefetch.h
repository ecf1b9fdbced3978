// Decoding on a thread of its own, a few pictures ahead of whoever uses them.
#pragma once

#include <memory>
#include <optional>

#include "video/reader.h"

namespace rhumb::video {

class Prefetch {
 public:
  // `most_ahead` pictures at most wait decoded (each 3 MB at 1920 x 1080); above 4K fewer.
  explicit Prefetch(Reader reader, int most_ahead = 4);
  // Stops the thread; pictures that were handed out stay valid.
  ~Prefetch();
  Prefetch(const Prefetch&) = delete;
  Prefetch& operator=(const Prefetch&) = delete;

  // As Reader::next(), pictures in the same order; what it throws comes out here.
  std::optional<Frame> next();

  // What opening told, while pictures still come; with the final counts once next() gave nothing.
  StreamFacts facts() const;

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace rhumb::video
