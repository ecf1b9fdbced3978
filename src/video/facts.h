// What is known about a recording beside its pictures, in plain values.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace rhumb::video {

enum class Matrix { Bt601, Bt709, Bt2020 };  // ITU-R BT.601, BT.709, BT.2020 luma-chroma matrices

// A stretch between two neighbouring pictures that is much longer than usual.
struct Gap {
  double start_s = 0.0;
  double end_s = 0.0;
};

// The first block is known once a recording is open; the counts grow while it is read and are final
// at its end. Promised durations and rates are hints only: containers lie.
struct StreamFacts {
  int width = 0;  // px, of the upright picture with square pixels, the same for every Frame
  int height = 0;
  int parts = 1;
  std::string container;
  std::string codec;
  std::string pixel_format;  // as coded
  int bit_depth = 8;         // as coded; Frames have 8
  bool full_range = false;   // luma 0..255; else 16..235 with chroma 16..240
  Matrix matrix = Matrix::Bt709;
  int rotation_deg = 0;  // clockwise turn that was applied to make it upright
  bool flipped = false;  // mirrored left to right before that turn, by the file's display matrix
  double promised_duration_s = 0.0;  // of all parts, 0 when not stated
  double promised_rate_hz = 0.0;     // mean, 0 when not stated

  std::int64_t frames = 0;
  double duration_s = 0.0;            // from the first picture to the end of the last
  std::int64_t damaged_packets = 0;   // skipped by demuxer or decoder
  std::int64_t concealed_frames = 0;  // delivered with errors concealed
  std::int64_t interlaced_frames = 0;
  std::int64_t missing_stamps = 0;
  std::int64_t repaired_stamps = 0;   // repeated, backward or alone out of line
  std::int64_t clock_restarts = 0;    // within a part; the stretches were joined
  std::vector<Gap> gaps;              // at most 1000 are kept
  std::vector<double> part_starts_s;  // time of the first picture of each part
  std::vector<std::string> notes;     // what was lost, reduced or assumed, in plain words
};

}  // namespace rhumb::video
