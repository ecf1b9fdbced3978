#include "files/partial_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <string>
#include <system_error>
#include <utility>

#include "files/user_error.h"

namespace rhumb::files {
namespace {

[[noreturn]] void fail(const std::filesystem::path& file, int error) {
  const std::string reason = std::error_code(error, std::generic_category()).message();
  throw UserError(file.string(), "", "cannot be written (" + reason + ")",
                  error == ENOSPC || error == EDQUOT
                      ? "make room on the disk; what was there before is untouched"
                      : "give a folder that can be written; what was there before is untouched");
}

void write_all(int descriptor, std::string_view content, const std::filesystem::path& file) {
  while (!content.empty()) {
    const ssize_t written = ::write(descriptor, content.data(), content.size());
    if (written < 0) {
      if (errno == EINTR) continue;
      const int error = errno;
      ::close(descriptor);
      fail(file, error);
    }
    content.remove_prefix(static_cast<std::size_t>(written));
  }
}

// Flushes and closes; some file systems report a full disk only here.
void close_flushed(int descriptor, const std::filesystem::path& file) {
  const int flushed = ::fsync(descriptor) == 0 || errno == EINVAL ? 0 : errno;
  const int closed = ::close(descriptor) == 0 ? 0 : errno;
  if (flushed != 0) fail(file, flushed);
  if (closed != 0) fail(file, closed);
}

}  // namespace

PartialFile::PartialFile(std::filesystem::path target) : target_(std::move(target)) {
  const std::filesystem::path folder = target_.parent_path();
  std::error_code error;
  if (!folder.empty()) std::filesystem::create_directories(folder, error);
  if (error) fail(folder, error.value());
  if (std::filesystem::is_directory(target_, error)) fail(target_, EISDIR);
  // The ending of the target stays last, for writers that choose a format by it.
  const std::string name = target_.stem().string() + "." + std::to_string(::getpid()) + ".partial" +
                           target_.extension().string();
  partial_ = folder / name;
  const int descriptor = ::open(partial_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  if (descriptor < 0) fail(target_, errno);
  ::close(descriptor);
}

PartialFile::~PartialFile() {
  std::error_code ignored;
  if (!committed_) std::filesystem::remove(partial_, ignored);
}

void PartialFile::commit() {
  const int descriptor = ::open(partial_.c_str(), O_RDWR | O_CLOEXEC);
  if (descriptor < 0) fail(target_, errno);
  close_flushed(descriptor, target_);
  std::error_code error;
  std::filesystem::rename(partial_, target_, error);
  if (error) fail(target_, error.value());
  committed_ = true;
}

void write_whole(const std::filesystem::path& target, std::string_view content) {
  PartialFile file(target);
  const int descriptor = ::open(file.partial().c_str(), O_WRONLY | O_TRUNC | O_CLOEXEC);
  if (descriptor < 0) fail(target, errno);
  write_all(descriptor, content, target);
  close_flushed(descriptor, target);
  file.commit();
}

}  // namespace rhumb::files
