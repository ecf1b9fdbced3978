#include "video/steady_part.h"

#include <utility>

namespace rhumb::video {

SteadyPart::SteadyPart(const std::filesystem::path& path, const PartOptions& options)
    : path_(path), options_(options), part_(std::make_unique<Part>(path, options)) {}

bool SteadyPart::seek(double stamp_s) {
  given_ = 0;
  sought_s_ = stamp_s;
  return part_->seek(stamp_s);
}

void SteadyPart::begin_again() {
  options_.decoder_threads = 1;
  part_ = std::make_unique<Part>(path_, options_);
  if (sought_s_) {
    part_->seek(*sought_s_);
  }
  for (std::int64_t i = 0; i < given_; ++i) {
    if (!part_->next()) {
      return;
    }
  }
}

std::optional<Decoded> SteadyPart::next() {
  std::optional<Decoded> decoded = part_->next();
  const bool damaged =
      (decoded && decoded->damaged) || part_->damaged_packets() > 0 || part_->complaints() > 0;
  if (damaged && part_->uses_frame_threads()) {
    begin_again();
    decoded = part_->next();
  }
  given_ += decoded ? 1 : 0;
  return decoded;
}

}  // namespace rhumb::video
