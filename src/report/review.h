// The recording a second time, with what was read drawn over it.
#pragma once

#include <filesystem>

#include "report/report.h"
#include "report/stills.h"

namespace rhumb::report {

// All of these read the recording once and give the stills of the deciding frames, taken on the
// way. UserError where it can't be read again or something can't be written, Interrupted on cancel.

// One picture for each row of the timeline, at the row's time less the first row's.
StillSet write_review_video(const outcome::CaseOutcome& outcome, const std::filesystem::path& file,
                            const ReportOptions& options);

// PNGs named by their time, of the deciding frames and of one every `stills_every_s`. `folder` is
// made.
StillSet write_review_stills(const outcome::CaseOutcome& outcome,
                             const std::filesystem::path& folder, const ReportOptions& options);

// The stills alone; reads from the first deciding frame to the last.
StillSet read_stills(const outcome::CaseOutcome& outcome, const ReportOptions& options);

}  // namespace rhumb::report
