// The recording a second time, with what was read drawn over it.
#pragma once

#include <filesystem>

#include "report/report.h"

namespace rhumb::report {

// One picture for each row of the timeline, at the row's time less the first row's. UserError where
// the recording can't be read again or the file can't be written, Interrupted on cancel.
void write_review_video(const outcome::CaseOutcome& outcome, const std::filesystem::path& file,
                        const ReportOptions& options);

// PNGs named by their time, of the deciding frames and of one every `stills_every_s`. `folder` is
// made.
void write_review_stills(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                         const ReportOptions& options);

}  // namespace rhumb::report
