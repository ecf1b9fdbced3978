// Renders, analyses and scores a suite.
#pragma once

#include <filesystem>
#include <functional>
#include <stop_token>

#include "validate/score.h"
#include "validate/suite.h"

namespace rhumb::validate {

struct RunOptions {
  int workers = 1;           // clips at a time; changes the speed only
  std::string build;         // what the scores depend on besides the scene, such as the commit
  bool keep_videos = false;  // leave the rendered clips in the folder
  std::stop_token cancel;    // Interrupted is thrown; finished clips stay and are not done again
  std::function<void(int done, int total, const ClipScore& latest)>
      progress;  // may be called from any thread
};

// Scores of all clips, in the suite's order. Each finished clip is kept in FOLDER/clips; those that
// are there already, from the same version and scene, are taken as they are.
std::vector<ClipScore> run_suite(const std::vector<Clip>& clips,
                                 const std::filesystem::path& folder, const RunOptions& options);

// Tables, plots and pages of the scores: clips.csv, conditions.csv, calibration.csv, report.html,
// accuracy.md, images/. With a document, its part between '<!-- rhumb validate: begin -->' and
// '<!-- rhumb validate: end -->' is replaced (or the part is put at its end), and the pictures go
// into images/ beside it. UserError where it holds only one of the two marks.
struct PageFacts {
  std::string suite;
  std::string command;             // that makes it again
  std::string seeds;               // in words
  std::string build;               // the commit
  std::filesystem::path document;  // empty: none
};
void write_pages(const std::vector<ClipScore>& scores, const std::vector<Clip>& clips,
                 const PageFacts& facts, const std::filesystem::path& folder);

}  // namespace rhumb::validate
