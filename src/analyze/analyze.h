// One case from its recording to what it comes to.
//
// Stages: sample frames make the atlas of the eye; one pass over the recording gives every frame's
// pose and its straightened pupil; windows teach what the marks look like; a Markov model finds the
// history; each frame is refined against the learned marks; the reference turns atlas angles into
// meridians. See docs/method.md.
#pragma once

#include <functional>
#include <optional>
#include <stop_token>

#include "casefile/case.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

// In the order in which they run. Pictures: decoding beside the pose and the straightened pupil of
// each frame.
enum class Stage { Atlas, Pictures, Windows, Frames, Refinement, Outcome };

// Ideas that the accuracy rests on, each replaced by what one would do without it: for measuring
// what it buys, never for results.
struct LeftOut {
  bool affine = false;     // poses are similarities: no foreshortening, no parallax
  bool atlas = false;      // each frame is registered to the one before
  bool pattern = false;    // marks are any contrast along a meridian, not the pattern stated
  bool smoothing = false;  // each frame's own reading of the axis stands
  bool skipping = false;   // every picture of a fast recording is looked at
};

struct AnalyzeOptions {
  std::optional<double> from_s;  // stretch of the recording; other frames get no row
  std::optional<double> to_s;
  int threads = 1;                               // never changes the outcome
  int most_samples = 100;                        // frames that the atlas is made from
  std::size_t sample_memory_bytes = 160u << 20;  // that they may take
  std::size_t patch_memory_bytes = 96u
                                   << 20;  // straightened pupils beyond this go to a temporary file
  LeftOut left_out;
  std::function<void(Stage)> on_stage;  // called as each begins; may be empty
};

// share: done part of the work, 0 to 1; time_s: place in the recording.
using Progress = std::function<void(double share, double time_s)>;

// Reads the recording and fills everything of the outcome but its run record's version, options and
// hashes. Throws what the video room throws for a recording that can't be read, UserError for a
// photograph that can't be used, Interrupted when cancelled. A recording in which nothing can be
// measured is an outcome, not an error.
outcome::CaseOutcome analyze(const casefile::Case& stated, const AnalyzeOptions& options,
                             const Progress& progress, std::stop_token cancel);

}  // namespace rhumb::analyze
