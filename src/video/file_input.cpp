#include "video/file_input.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <new>
#include <utility>

#include "video/error.h"

namespace rhumb::video {
namespace {

constexpr int buffer_bytes = 1 << 18;

int refuse_other_files(AVFormatContext*, AVIOContext**, const char*, int, AVDictionary**) {
  return AVERROR(EPERM);
}

int stop_when_cancelled(void* self) {
  return static_cast<const FileInput*>(self)->is_cancelled() ? 1 : 0;
}

// Looks before opening: opening a pipe would wait for its writer.
void check_kind(const std::filesystem::path& path) {
  struct stat about {};
  if (::stat(path.c_str(), &about) != 0) {
    throw VideoError(path, "", std::string("can't be opened (") + std::strerror(errno) + ")",
                     "check the path of the video and its permissions");
  }
  if (S_ISDIR(about.st_mode)) {
    throw VideoError(path, "", "is a folder, not a video", "name the video file inside it");
  }
  if (!S_ISREG(about.st_mode)) {
    throw VideoError(path, "", "is not a regular file", "save the recording as a file first");
  }
  if (about.st_size == 0) {
    throw VideoError(path, "", "is empty (0 bytes)", "copy the recording again from the recorder");
  }
}

}  // namespace

FileInput::FileInput(const std::filesystem::path& path, std::stop_token cancel)
    : cancel_(std::move(cancel)) {
  check_kind(path);
  if (auto object = read_dicom_object(path)) pieces_ = std::move(object->stream);
  for (const auto& piece : pieces_) piece_bytes_ += piece.length;
  descriptor_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor_ < 0) {
    throw VideoError(path, "", std::string("can't be opened (") + std::strerror(errno) + ")",
                     "check the path of the video and its permissions");
  }
  auto* buffer = static_cast<std::uint8_t*>(av_malloc(buffer_bytes));
  bytes_ = avio_alloc_context(buffer, buffer_bytes, 0, this, &FileInput::read, nullptr,
                              &FileInput::seek);
  if (bytes_ == nullptr) {
    av_free(buffer);
    ::close(descriptor_);
    throw std::bad_alloc();
  }
}

FileInput::~FileInput() {
  if (bytes_ != nullptr) {
    av_freep(&bytes_->buffer);
    avio_context_free(&bytes_);
  }
  if (descriptor_ >= 0) {
    ::close(descriptor_);
  }
}

void FileInput::attach(AVFormatContext& format) {
  format.pb = bytes_;
  format.flags |= AVFMT_FLAG_CUSTOM_IO;
  format.io_open = &refuse_other_files;
  format.interrupt_callback = {&stop_when_cancelled, this};
}

// What is left of the piece at hand, at most `size` bytes.
int FileInput::read_piece(std::uint8_t* buffer, int size) {
  std::int64_t before = 0;
  for (const auto& piece : pieces_) {
    const std::int64_t inside = place_ - before;
    if (inside < piece.length) {
      const auto most =
          static_cast<std::size_t>(std::min<std::int64_t>(size, piece.length - inside));
      const ssize_t got = ::pread(descriptor_, buffer, most, piece.start + inside);
      if (got == 0) return AVERROR_EOF;
      if (got < 0) return AVERROR(errno);
      place_ += got;
      return static_cast<int>(got);
    }
    before += piece.length;
  }
  return AVERROR_EOF;
}

std::int64_t FileInput::seek_in_pieces(std::int64_t offset, int whence) {
  if ((whence & AVSEEK_SIZE) != 0) return piece_bytes_;
  const int from = whence & ~AVSEEK_FORCE;
  const std::int64_t base = from == SEEK_CUR ? place_ : from == SEEK_END ? piece_bytes_ : 0;
  if (base + offset < 0) return AVERROR(EINVAL);
  return place_ = base + offset;
}

int FileInput::read(void* self, std::uint8_t* buffer, int size) {
  auto& input = *static_cast<FileInput*>(self);
  if (input.is_cancelled()) {
    return AVERROR_EXIT;
  }
  if (!input.pieces_.empty()) return input.read_piece(buffer, size);
  const ssize_t got = ::read(input.descriptor_, buffer, static_cast<std::size_t>(size));
  if (got == 0) {
    return AVERROR_EOF;
  }
  return got < 0 ? AVERROR(errno) : static_cast<int>(got);
}

std::int64_t FileInput::seek(void* self, std::int64_t offset, int whence) {
  auto& input = *static_cast<FileInput*>(self);
  if (!input.pieces_.empty()) return input.seek_in_pieces(offset, whence);
  if ((whence & AVSEEK_SIZE) != 0) {
    struct stat about {};
    return ::fstat(input.descriptor_, &about) == 0 ? about.st_size : AVERROR(errno);
  }
  const off_t at = ::lseek(input.descriptor_, offset, whence & ~AVSEEK_FORCE);
  return at < 0 ? AVERROR(errno) : at;
}

}  // namespace rhumb::video
