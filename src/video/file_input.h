// One regular file as libav's byte source. Inside this room only.
#pragma once

#include <cstdint>
#include <filesystem>
#include <stop_token>

#include "video/av.h"

namespace rhumb::video {

// Opens only the file that it was given: a demuxer that asks for another one is refused, so that no
// play list or reference in a file reaches other files or the network.
class FileInput {
 public:
  // Throws VideoError unless `path` is a regular file that can be read and is not empty.
  FileInput(const std::filesystem::path& path, std::stop_token cancel);
  FileInput(const FileInput&) = delete;
  FileInput& operator=(const FileInput&) = delete;
  ~FileInput();

  // Makes the demuxer read from here. The FileInput must outlive the context.
  void attach(AVFormatContext& format);

  bool is_cancelled() const { return cancel_.stop_requested(); }

 private:
  static int read(void* self, std::uint8_t* buffer, int size);
  static std::int64_t seek(void* self, std::int64_t offset, int whence);

  int descriptor_ = -1;
  std::stop_token cancel_;
  AVIOContext* bytes_ = nullptr;
};

}  // namespace rhumb::video
