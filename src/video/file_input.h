// One regular file, or the coded stream inside a DICOM video object, as libav's byte source. Inside
// this room only.
#pragma once

#include <cstdint>
#include <filesystem>
#include <stop_token>
#include <vector>

#include "video/av.h"
#include "video/dicom_object.h"

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

  // Whether the bytes are those of a stream inside a DICOM object.
  bool is_inside_dicom() const { return !pieces_.empty(); }
  bool is_cancelled() const { return cancel_.stop_requested(); }

 private:
  static int read(void* self, std::uint8_t* buffer, int size);
  static std::int64_t seek(void* self, std::int64_t offset, int whence);

  int read_piece(std::uint8_t* buffer, int size);
  std::int64_t seek_in_pieces(std::int64_t offset, int whence);

  int descriptor_ = -1;
  std::vector<DicomObject::Range> pieces_;  // of the stream; empty: the whole file is the stream
  std::int64_t piece_bytes_ = 0;            // of all pieces
  std::int64_t place_ = 0;                  // in the stream, with pieces
  std::stop_token cancel_;
  AVIOContext* bytes_ = nullptr;
};

}  // namespace rhumb::video
