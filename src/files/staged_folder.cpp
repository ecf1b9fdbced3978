#include "files/staged_folder.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <set>
#include <system_error>
#include <utility>

#include "files/folder_exchange.h"
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

// Where a run beside `target` stages: a hidden folder of the target's name.
std::string prefix_beside(const fs::path& target) {
  return "." + target.filename().string() + staging_prefix;
}

void remove_all_named(const fs::path& folder, const std::string& prefix) {
  std::error_code ignored;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, ignored))
    if (entry.path().filename().string().starts_with(prefix)) fs::remove_all(entry.path(), ignored);
}

// Left by runs that were killed; safe to remove while the lock is held.
void remove_stale(const fs::path& target) {
  remove_all_named(target, staging_prefix);
  remove_all_named(target.parent_path(), prefix_beside(target));
}

// Whether what lies in `from` can be renamed into `target`: not where that is a mount of its own.
bool moves_into(const fs::path& from, const fs::path& target) {
  const std::string name = staging_prefix + std::to_string(::getpid()) + "-probe";
  std::error_code error;
  if (!fs::create_directory(from / name, error)) return false;
  fs::rename(from / name, target / name, error);
  const bool moved = !error;
  fs::remove((moved ? target : from) / name, error);
  return moved;
}

// What making a folder says while another run takes the same one away.
bool passes(const std::error_code& error) {
  return error == std::errc::no_such_file_or_directory || error == std::errc::file_exists ||
         error == std::errc::not_a_directory;
}

std::vector<std::string> names_in(const fs::path& folder, std::error_code& error) {
  std::vector<std::string> names;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, error))
    names.push_back(entry.path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

}  // namespace

StagedFolder::StagedFolder(fs::path target) : target_(std::move(target)) {
  if (target_.empty()) refuse("--out", "names no folder");
  if (!target_.has_filename()) target_ = target_.parent_path();  // a closing slash
  std::error_code ignored;
  const fs::path there = existing_part(target_);
  const fs::file_type type = fs::status(there, ignored).type();
  if (type == fs::file_type::not_found) return;  // another run took it away just now
  if (type != fs::file_type::directory) refuse(there, "is a file, not a folder");
  if (::access(there.c_str(), W_OK | X_OK) != 0 && errno != ENOENT)
    refuse(there, "cannot be written");
}

// Another run may put a new folder into the place, or take away the one that it had made, at any
// moment before the lock is held: then from the start again.
void StagedFolder::lock() {
  constexpr int most_attempts = 1000;
  for (int attempt = 0;; ++attempt) {
    std::error_code error;
    const bool made = fs::create_directories(target_, error);
    if (error && passes(error) && attempt < most_attempts) continue;
    need(error, target_);
    lock_ = ::open(target_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (lock_ < 0 && errno == ENOENT && attempt < most_attempts) continue;
    if (lock_ < 0) refuse(target_, "cannot be opened");
    if (::flock(lock_, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
      ::close(lock_);
      lock_ = -1;
      throw UserError(target_.string(), "", "another run is writing into this folder",
                      "wait for it, or give another folder");
    }
    struct stat opened {};
    struct stat there {};
    if (::fstat(lock_, &opened) == 0 && ::stat(target_.c_str(), &there) == 0 &&
        opened.st_ino == there.st_ino && opened.st_dev == there.st_dev) {
      made_target_ = made;
      return;
    }
    ::close(lock_);
    lock_ = -1;
  }
}

void StagedFolder::begin() {
  std::error_code error;
  lock();
  target_ = fs::canonical(target_, error);  // a link to a folder stays one
  need(error, target_);
  remove_stale(target_);
  const std::string process = std::to_string(::getpid());
  fs::path staging = target_.parent_path() / (prefix_beside(target_) + process);
  const bool beside = fs::create_directory(staging, error);
  if (!beside || !moves_into(staging, target_)) {
    if (beside) fs::remove(staging, error);
    staging = target_ / (staging_prefix + process);
    fs::create_directory(staging, error);
    need(error, target_);
  }
  staging_ = staging;
}

StagedFolder::~StagedFolder() {
  std::error_code ignored;
  if (!staging_.empty()) fs::remove_all(staging_, ignored);
  if (lock_ < 0) return;                           // somebody else's, or nobody's
  if (made_target_) fs::remove(target_, ignored);  // only when nothing was put into it
  ::close(lock_);
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

void StagedFolder::move_one_by_one(const std::vector<std::string>& owned,
                                   std::vector<std::string> names, const std::string& last) {
  const auto at_end = std::find(names.begin(), names.end(), last);
  if (at_end != names.end()) std::rotate(at_end, at_end + 1, names.end());
  std::error_code ignored;
  for (const std::string& name : owned)
    if (std::find(names.begin(), names.end(), name) == names.end())
      fs::remove_all(target_ / name, ignored);
  for (const std::string& name : names) move_in(name);
}

void StagedFolder::commit(const std::vector<std::string>& owned, const std::string& last) {
  std::error_code error;
  const std::vector<std::string> names = names_in(staging_, error);
  need(error, target_);
  std::set<std::string> ours(owned.begin(), owned.end());
  ours.insert(names.begin(), names.end());
  const bool beside = staging_.parent_path() == target_.parent_path();
  if (!beside || !exchange_folders(staging_, target_, ours)) move_one_by_one(owned, names, last);
  fs::remove_all(staging_, error);
  if (const int folder = ::open(target_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC); folder >= 0) {
    ::fsync(folder);
    ::close(folder);
  }
}

}  // namespace rhumb::files
