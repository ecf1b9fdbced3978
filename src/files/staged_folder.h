// A folder of outputs that changes as a whole: written aside, then moved into place.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace rhumb::files {

// Outputs are written to staging(), a hidden folder inside the target, and moved over the earlier
// ones by commit(). Until then the target keeps its earlier content; a kill at any moment leaves
// that or the new content, apart from the instant of the moves themselves, in which `last` (see
// commit) still is the old one. Without a commit the destructor removes what was staged, and the
// target too if it was made for this.
class StagedFolder {
 public:
  // Looks whether `target` can become or is a folder that can be written; makes nothing yet, so
  // that long work ahead of begin() is not in vain. UserError otherwise.
  explicit StagedFolder(std::filesystem::path target);
  ~StagedFolder();
  StagedFolder(const StagedFolder&) = delete;
  StagedFolder& operator=(const StagedFolder&) = delete;

  // Makes target and staging folder and locks the target against other runs, which end with a
  // UserError.
  void begin();
  const std::filesystem::path& target() const { return target_; }
  const std::filesystem::path& staging() const { return staging_; }

  // Moves everything staged to the target; subfolders replace those of the same name. Names in
  // `owned` that an earlier run left and this one did not make are removed, so that runs do not
  // mix. The file `last` is moved after all others.
  void commit(const std::vector<std::string>& owned, const std::string& last);

 private:
  void move_in(const std::string& name);

  std::filesystem::path target_;
  std::filesystem::path staging_;
  int lock_ = -1;
  bool made_target_ = false;
};

}  // namespace rhumb::files
