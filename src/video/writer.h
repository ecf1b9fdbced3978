// Writes pictures with their own times as H.264 in an MP4 file that plays while it loads.
//
// The same pictures and options give the same bytes on every machine with the same libraries,
// whatever the number of its processors. The file carries no dates, names or other metadata.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <opencv2/core.hpp>
#include <string>

namespace rhumb::video {

struct WriterOptions {
  int width = 0;                    // px, even and at least 16
  int height = 0;                   // px, even (a multiple of 4 when interlaced) and at least 16
  double rate_hz = 25.0;            // usual rate: sets the last picture's duration; times are free
  double crf = 20.0;                // x264 constant rate factor, 0..51; lower is better and larger
  std::int64_t bit_rate = 0;        // bit/s; 0: constant quality by crf
  std::string preset = "veryfast";  // x264 preset: speed against size
  int gop = 0;                      // pictures between key frames at most; 0: two seconds
  int b_frames = -1;                // -1: the preset's
  int lookahead = 10;               // pictures; each costs memory
  bool interlaced = false;          // code as two fields, top field first
  bool full_range = false;          // how luma given as such is tagged; BGR is converted to it
  int rotation_deg = 0;             // clockwise turn that a player shall apply: 0, 90, 180 or 270
  int threads = 2;                  // of the encoder; part of what fixes the bytes
};

class Writer {
 public:
  // Opens `file` (any extension) for writing; write beside and rename when done. Throws UserError
  // when it can't be written, std::invalid_argument for options that make no sense.
  Writer(const std::filesystem::path& file, const WriterOptions& options);
  // A file that was not finished is left incomplete; the caller removes it.
  ~Writer();
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;

  // One picture: CV_8UC3 BGR (converted by ITU-R BT.709) or CV_8UC1 luma (taken as it is, without
  // colour). `time_s` is at least 0 and grows; it is kept to 1/90000 s. Throws UserError when the
  // disk is full.
  void add(const cv::Mat& picture, double time_s);
  // The same from planes as a Frame has them.
  void add(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr, double time_s);

  // Codes what is left and completes the file. Throws UserError when the disk is full.
  void finish();

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace rhumb::video
