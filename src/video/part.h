// One file of a recording: packets in, decoded pictures out, as they were coded. Inside this room
// only.
#pragma once

#include <atomic>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

#include "video/av.h"
#include "video/file_input.h"

namespace rhumb::video {

struct PartOptions {
  int decoder_threads = 0;  // 0: libav's choice
  bool keyframes_only = false;
  std::stop_token cancel;
};

struct Decoded {
  av::FramePtr picture;
  std::optional<double> stamp_s;  // in the stream's own time, from best_effort_timestamp
  bool damaged = false;
};

struct PacketFacts {
  std::optional<double> stamp_s;  // presentation
  bool is_key = false;
  bool is_shown = true;  // false for what an edit list leaves out
};

class Part {
 public:
  // Throws VideoError when the file is no video that libav can decode.
  Part(const std::filesystem::path& path, const PartOptions& options);

  // The next picture in presentation order; nothing at the end.
  std::optional<Decoded> next();

  // Goes to the key frame at or before a time of the stream's own; false when the file can't be
  // sought.
  bool seek(double stamp_s);

  // The next packet of the stream without decoding it; nothing at the end. Not to be mixed with
  // next().
  std::optional<PacketFacts> next_packet();
  // Stamp of the key frame at or before a time (of the first one after it, where none is before).
  std::optional<double> key_stamp(double stamp_s);
  // That picture decoded by itself, for a look without reading what lies between.
  std::optional<Decoded> key_picture(double stamp_s);

  const std::filesystem::path& path() const { return path_; }
  const AVStream& stream() const { return *stream_; }
  const char* container() const { return format_->iformat->name; }
  const char* codec() const { return decoder_->codec->name; }
  double promised_duration_s() const;
  double promised_rate_hz() const;
  std::int64_t damaged_packets() const { return damaged_packets_; }
  // Errors that the decoder reported, concealed ones too. They are counted before any picture comes
  // out that was decoded after them.
  int complaints() const;
  bool uses_frame_threads() const;
  const std::vector<std::string>& notes() const { return notes_; }

 private:
  void open_container();
  void open_decoder(const PartOptions& options);
  void feed();
  bool goes_on() const;
  void count_damage();
  bool read_packet();
  std::optional<Decoded> receive();

  std::filesystem::path path_;
  std::unique_ptr<FileInput> input_;
  av::FormatPtr format_;
  AVStream* stream_ = nullptr;
  std::unique_ptr<std::atomic<int>> complaints_;  // outlives the decoder, whose threads write to it
  av::CodecPtr decoder_;
  av::PacketPtr packet_;
  std::int64_t damaged_packets_ = 0;
  int errors_in_a_row_ = 0;
  bool draining_ = false;
  int last_receive_ = 0;
  std::vector<std::string> notes_;
};

}  // namespace rhumb::video
