// A whole folder put in the place of another in one step.
#pragma once

#include <filesystem>
#include <set>
#include <string>

namespace rhumb::files {

// Puts `fresh` where `target` is, so that everybody sees either the earlier folder or the new one;
// the earlier one then lies at `fresh`. What `target` holds and `ours` does not name is somebody
// else's and stays: those files are in both folders (hard links). Both must lie beside each other.
//
// False, and nothing changed, where that cannot be done: the file system does not know how
// (renameat2, Linux 3.15), somebody else's folders lie in `target`, its owner or rights could not
// be kept, or this process stands in it.
bool exchange_folders(const std::filesystem::path& fresh, const std::filesystem::path& target,
                      const std::set<std::string>& ours);

}  // namespace rhumb::files
