// Writing beside, then renaming: an output is either the earlier whole one or the new whole one.
#pragma once

#include <filesystem>
#include <string_view>

namespace rhumb::files {

// A file being written under `NAME.partial` beside `target`, in the same folder. Write to partial()
// with whatever writes it, then commit(). Without a commit (an error, an interruption) the
// destructor removes it. Two runs into one folder: the last commit wins whole; they do not mix
// (each has its own partial name).
class PartialFile {
 public:
  // Creates missing parent folders. UserError where that is not possible or the folder is not
  // writable.
  explicit PartialFile(std::filesystem::path target);
  ~PartialFile();
  PartialFile(const PartialFile&) = delete;
  PartialFile& operator=(const PartialFile&) = delete;

  const std::filesystem::path& partial() const { return partial_; }
  const std::filesystem::path& target() const { return target_; }

  // Flushes to the disk and renames. UserError (disk full, no rights) leaves the earlier file as it
  // was.
  void commit();

 private:
  std::filesystem::path target_;
  std::filesystem::path partial_;
  bool committed_ = false;
};

// The whole content at once, through a PartialFile. Same errors.
void write_whole(const std::filesystem::path& target, std::string_view content);

}  // namespace rhumb::files
