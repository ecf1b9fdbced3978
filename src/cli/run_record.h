// What is written down about a run so that it can be repeated.
#pragma once

#include <stop_token>
#include <string>
#include <utility>
#include <vector>

#include "casefile/case.h"

namespace rhumb::cli {

using NamedTexts = std::vector<std::pair<std::string, std::string>>;

std::string built_commit();  // "3f2a1b0c4d5e", with "-dirty" for changed sources, or "unknown"
NamedTexts
library_versions();  // of the libraries that are loaded, not those that were compiled against

struct InputHashes {
  std::string case_file;            // SHA-256, hexadecimal
  std::vector<std::string> inputs;  // of each part of the recording, then of each photograph
};
// Reads every input once. UserError where one can't be read, Interrupted on cancel.
InputHashes hash_inputs(const casefile::Case& stated, const std::stop_token& cancel);

}  // namespace rhumb::cli
