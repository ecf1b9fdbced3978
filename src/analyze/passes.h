// The two looks at the recording: some frames for the atlas, then every frame once.
#pragma once

#include <stop_token>
#include <string>
#include <vector>

#include "analyze/analyze.h"
#include "analyze/chamber.h"
#include "analyze/skipped.h"
#include "eye/atlas.h"
#include "lens/patch.h"
#include "video/facts.h"

namespace rhumb::analyze {

struct SampledAtlas {
  std::optional<eye::EyeAtlas> atlas;
  eye::AtlasReport report;
};

SampledAtlas sample_atlas(const casefile::Case& stated, const AnalyzeOptions& options,
                          const std::stop_token& cancel);

// A place of the recording that was looked at: one entry a frame, in order.
struct SeenFrame {
  std::int64_t index = 0;
  double time_s = 0.0;
  bool damaged = false;
  eye::EyePose pose;
  bool is_key = false;
  // Since the picture before, looked at or not (0: not known): no picture is exposed for longer.
  double interval_s = 0.0;
};

struct Pass {
  std::vector<SeenFrame> frames;
  lens::PatchStore patches;
  video::StreamFacts facts;
  IrisLog iris{};
  std::vector<SkippedFrame> skipped{};  // of a fast recording
};

// `atlas` may be null: the frames are listed all the same, without poses.
Pass read_all(const casefile::Case& stated, const eye::EyeAtlas* atlas,
              const AnalyzeOptions& options, const Progress& progress,
              const std::stop_token& cancel);

}  // namespace rhumb::analyze
