// One file's pictures, the same on every run: with damage too, and with any number of threads. Room
// only.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "video/part.h"

namespace rhumb::video {

// Decoders conceal damage from what other threads have decoded by then, so that with frame threads
// the pictures differ from run to run (seen with H.264 in libavcodec 59). So decoding starts with
// threads; at the first complaint of the decoder, which comes before any picture that it touches,
// the file is decoded anew on one thread, up to what was given already, and from there on.
class SteadyPart {
 public:
  // Throws as Part does.
  SteadyPart(const std::filesystem::path& path, const PartOptions& options);

  std::optional<Decoded> next();
  bool seek(double stamp_s);
  const Part& part() const { return *part_; }

 private:
  void begin_again();

  std::filesystem::path path_;
  PartOptions options_;
  std::unique_ptr<Part> part_;
  std::optional<double> sought_s_;
  std::int64_t given_ = 0;  // since the start or the last seek
};

}  // namespace rhumb::video
