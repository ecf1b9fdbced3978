// A cheap look through a whole recording: some pictures, evenly spread.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <stop_token>
#include <vector>

#include "video/error.h"
#include "video/facts.h"
#include "video/frame.h"

namespace rhumb::video {

struct SampleOptions {
  int count = 120;  // pictures wanted; fewer come when the recording has fewer
  // Up to this promised length every picture is decoded and some are handed out.
  double short_s = 20.0;
  std::optional<double> from_s;  // only pictures in this stretch
  std::optional<double> to_s;
  // When there are any, only the key frames shown at these times (in growing order, to 0.1 ms) are
  // given, and nothing else is decoded; those that can't be sought are left out.
  std::vector<double> keys_s;
  std::stop_token cancel;
};

// Gives pictures one at a time in order of time, so that only what the caller keeps takes memory.
// Short recordings are read through; in long ones the key frame nearest before each of the wanted
// times is sought and only that is decoded. When that gives too few different pictures (few key
// frames, a file that can't be sought), the recording is read through after all.
//
// Frame::time_s is on the clock of Reader, exactly so wherever the stamps need no repair and, in a
// recording of several parts, up to half an interval a part. Frame::index counts the pictures
// handed out.
class Sampler {
 public:
  // Throws as Reader::open does.
  Sampler(const std::vector<std::filesystem::path>& parts, const SampleOptions& options = {});
  ~Sampler();
  Sampler(const Sampler&) = delete;
  Sampler& operator=(const Sampler&) = delete;

  std::optional<Frame> next();
  const StreamFacts& facts() const;

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

// The pictures shown at some times (the last one that starts at or before each, to 0.1 ms), for
// stills. `times_s` in any order; an entry is empty where the recording has no such picture. All of
// them are held in memory. Reads once, from the first to the last of the times. Throws as
// Reader::open does.
std::vector<std::optional<Frame>> read_at(const std::vector<std::filesystem::path>& parts,
                                          const std::vector<double>& times_s,
                                          const std::stop_token& cancel = {});

}  // namespace rhumb::video
