// A folder of outputs that changes as a whole: written aside, then put in its place.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace rhumb::files {

// Outputs are written to staging(), a hidden folder beside the target, and put in the place of the
// earlier ones by commit(), in one step (folder_exchange.h): a kill at any moment leaves the
// earlier outputs or the new ones. Somebody else's files in the target stay. Where one step cannot
// be had, the staging folder lies inside the target and the outputs are moved one by one, `last`
// (see commit) after all others. Without a commit the destructor removes what was staged, and the
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
  // UserError. What killed runs have left is removed.
  void begin();
  const std::filesystem::path& target() const { return target_; }
  const std::filesystem::path& staging() const { return staging_; }

  // Everything staged becomes the target's. Names in `owned` that an earlier run left and this one
  // did not make are removed, so that runs do not mix. UserError with a full disk; the earlier
  // outputs stay.
  void commit(const std::vector<std::string>& owned, const std::string& last);

 private:
  void lock();
  void move_one_by_one(const std::vector<std::string>& owned, std::vector<std::string> names,
                       const std::string& last);
  void move_in(const std::string& name);

  std::filesystem::path target_;
  std::filesystem::path staging_;
  int lock_ = -1;
  bool made_target_ = false;
};

}  // namespace rhumb::files
