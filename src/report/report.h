// Everything that a case leaves in its folder: tables, page, annotated video.
#pragma once

#include <filesystem>
#include <functional>
#include <stop_token>
#include <string>
#include <vector>

#include "outcome/outcome.h"

namespace rhumb::report {

enum class Review {
  Video,   // review.mp4, one picture for each of the recording
  Stills,  // review/*.png instead: the deciding frames and a picture every ten seconds
  None
};

struct ReportOptions {
  Review review = Review::Video;
  int review_width_px = 960;  // at most; wide enough to judge the marks, small enough to send
  double review_crf = 24.0;   // x264 constant rate factor
  double stills_every_s = 10.0;
  std::stop_token cancel;
  std::function<void(double share)> progress;  // 0 to 1, from the calling thread
};

// The names that an outcome can leave in its folder. `result.json` is put in place last: where it
// is, the rest of its run is.
const std::vector<std::string>& output_names();

// Writes timeline.csv, its description, result.json, report.html and the review into `folder`,
// which must exist; reads the recording again for stills and review. The page does without stills
// where the recording can't be read a second time, and says so. Throws UserError where something
// can't be written, Interrupted on cancel.
void write_into(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                const ReportOptions& options = {});

// The same as one set: written aside and moved into `folder` at the end. A run that is stopped
// leaves what was there before. UserError when another run is writing into the same folder.
void write_outcome(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                   const ReportOptions& options = {});

}  // namespace rhumb::report
