#include "files/folder_exchange.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/xattr.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <optional>
#include <system_error>
#include <vector>

namespace rhumb::files {
namespace {

namespace fs = std::filesystem;

// The process would be left in a folder that is about to go.
bool stands_in(const fs::path& folder) {
  std::error_code error;
  const fs::path here = fs::current_path(error);
  if (error) return false;
  const fs::path there = fs::canonical(folder, error);
  return !error &&
         std::mismatch(there.begin(), there.end(), here.begin(), here.end()).first == there.end();
}

// Owner, group and rights of `target` for `fresh`; false where they cannot be had.
bool takes_after(const fs::path& fresh, const fs::path& target) {
  struct stat wanted {};
  struct stat found {};
  if (::stat(target.c_str(), &wanted) != 0 || ::stat(fresh.c_str(), &found) != 0) return false;
  if (::listxattr(target.c_str(), nullptr, 0) > 0) return false;  // access lists and the like
  const bool other = wanted.st_uid != found.st_uid || wanted.st_gid != found.st_gid;
  if (other && ::chown(fresh.c_str(), wanted.st_uid, wanted.st_gid) != 0) return false;
  return ::chmod(fresh.c_str(), wanted.st_mode & 07777U) == 0;
}

// Names of somebody else's files; empty where there are folders among them.
std::optional<std::vector<fs::path>> others(const fs::path& target,
                                            const std::set<std::string>& ours) {
  std::vector<fs::path> names;
  std::error_code error;
  for (const fs::directory_entry& entry : fs::directory_iterator(target, error)) {
    const fs::path name = entry.path().filename();
    if (ours.contains(name.string())) continue;
    if (entry.symlink_status(error).type() == fs::file_type::directory) return std::nullopt;
    names.push_back(name);
  }
  if (error) return std::nullopt;
  return names;
}

// All of them in `fresh` too, or none.
bool linked(const std::vector<fs::path>& names, const fs::path& target, const fs::path& fresh) {
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (::linkat(AT_FDCWD, (target / names[i]).c_str(), AT_FDCWD, (fresh / names[i]).c_str(), 0) ==
        0)
      continue;
    for (std::size_t k = 0; k < i; ++k) ::unlink((fresh / names[k]).c_str());
    return false;
  }
  return true;
}

}  // namespace

bool exchange_folders(const fs::path& fresh, const fs::path& target,
                      const std::set<std::string>& ours) {
  const auto names = others(target, ours);
  if (!names || stands_in(target) || !takes_after(fresh, target) || !linked(*names, target, fresh))
    return false;
  if (::renameat2(AT_FDCWD, fresh.c_str(), AT_FDCWD, target.c_str(), RENAME_EXCHANGE) == 0)
    return true;
  for (const fs::path& name : *names) ::unlink((fresh / name).c_str());
  return false;
}

}  // namespace rhumb::files
