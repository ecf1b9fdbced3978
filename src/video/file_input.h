// One regular file as libav's byte source. Inside this room only.
#pragma once

#include <atomic>
#include <filesystem>

#include "video/av.h"

namespace rhumb::video {

// Opens only the file that it was given: a demuxer that asks for another one is refused, so that no
// play list or reference in a file reaches other files or the network.
class FileInput {
 public:
  // Throws VideoError unless `path` is a regular file that can be read and is not empty.
  FileInput(const std::filesystem::path& path, const std::atomic<bool>* cancelled);
  FileInput(const FileInput&) = delete;
  FileInput& operator=(const FileInput&) = delete;
  ~FileInput();

  // Makes the demuxer read from here. The FileInput must outlive the context.
  void attach(AVFormatContext& format);

  bool is_cancelled() const { return cancelled_ != nullptr && cancelled_->load(); }

 private:
  static int read(void* self, std::uint8_t* buffer, int size);
  static std::int64_t seek(void* self, std::int64_t offset, int whence);

  int descriptor_ = -1;
  const std::atomic<bool>* cancelled_ = nullptr;
  AVIOContext* bytes_ = nullptr;
};

}  // namespace rhumb::video
