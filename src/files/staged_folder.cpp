#include "files/staged_folder.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <system_error>
#include <utility>

#include "files/user_error.h"

namespace rhumb::files {
namespace {

namespace fs = std::filesystem;
constexpr const char* staging_prefix = ".rhumb-partial-";
constexpr const char* set_aside_prefix = "earlier-";

[[noreturn]] void refuse(const fs::path& folder, const std::string& problem) {
  throw UserError(folder.string(), "", problem, "give a folder that can be written");
}

void need(const std::error_code& error, const fs::path& folder) {
  if (!error) return;
  if (error.value() == ENOSPC || error.value() == EDQUOT)
    throw UserError(folder.string(), "", "the disk is full",
                    "make room; what was there before is untouched");
  refuse(folder, "cannot be written (" + error.message() + ")");
}

// The nearest folder above that exists.
fs::path existing_part(fs::path folder) {
  std::error_code ignored;
  while (!folder.empty() && !fs::exists(folder, ignored)) folder = folder.parent_path();
  return folder.empty() ? fs::path(".") : folder;
}

// Left by runs that were killed; safe to remove while the lock is held.
void remove_stale(const fs::path& target) {
  std::error_code ignored;
  for (const fs::directory_entry& entry : fs::directory_iterator(target, ignored))
    if (entry.path().filename().string().starts_with(staging_prefix))
      fs::remove_all(entry.path(), ignored);
}

}  // namespace

StagedFolder::StagedFolder(fs::path target) : target_(std::move(target)) {
  if (target_.empty()) refuse("--out", "names no folder");
  if (!target_.has_filename()) target_ = target_.parent_path();  // a closing slash
  std::error_code ignored;
  const fs::path there = existing_part(target_);
  if (!fs::is_directory(there, ignored)) refuse(there, "is a file, not a folder");
  if (::access(there.c_str(), W_OK | X_OK) != 0) refuse(there, "cannot be written");
}

void StagedFolder::begin() {
  std::error_code error;
  made_target_ = !fs::exists(target_, error);
  fs::create_directories(target_, error);
  need(error, target_);
  lock_ = ::open(target_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (lock_ < 0) refuse(target_, "cannot be opened");
  if (::flock(lock_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK)
    throw UserError(target_.string(), "", "another run is writing into this folder",
                    "wait for it, or give another folder");
  remove_stale(target_);
  const fs::path staging = target_ / (staging_prefix + std::to_string(::getpid()));
  fs::create_directory(staging, error);
  need(error, target_);
  staging_ = staging;
}

StagedFolder::~StagedFolder() {
  std::error_code ignored;
  if (!staging_.empty()) fs::remove_all(staging_, ignored);
  if (made_target_) fs::remove(target_, ignored);  // only when nothing was put into it
  if (lock_ >= 0) ::close(lock_);
}

void StagedFolder::move_in(const std::string& name) {
  std::error_code error;
  // A folder cannot be renamed over one that holds something: the earlier one steps aside first.
  if (fs::is_directory(target_ / name, error)) {
    fs::rename(target_ / name, staging_ / (set_aside_prefix + name), error);
    need(error, target_);
  }
  fs::rename(staging_ / name, target_ / name, error);
  need(error, target_);
}

void StagedFolder::commit(const std::vector<std::string>& owned, const std::string& last) {
  std::error_code error;
  std::vector<std::string> names;
  for (const fs::directory_entry& entry : fs::directory_iterator(staging_, error))
    names.push_back(entry.path().filename().string());
  need(error, target_);
  std::sort(names.begin(), names.end());
  const auto at_end = std::find(names.begin(), names.end(), last);
  if (at_end != names.end()) std::rotate(at_end, at_end + 1, names.end());
  for (const std::string& name : owned)
    if (std::find(names.begin(), names.end(), name) == names.end())
      fs::remove_all(target_ / name, error);
  for (const std::string& name : names) move_in(name);
  fs::remove_all(staging_, error);
  ::fsync(lock_);
}

}  // namespace rhumb::files
