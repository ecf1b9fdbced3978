#include "analyze/analyze.h"

#include "analyze/conclude.h"
#include "analyze/passes.h"

namespace rhumb::analyze {

outcome::CaseOutcome analyze(const casefile::Case& stated, const AnalyzeOptions& options,
                             const Progress& progress, std::stop_token cancel) {
  const auto begins = [&options](Stage stage) {
    if (options.on_stage) options.on_stage(stage);
  };
  begins(Stage::Atlas);
  const SampledAtlas sampled = sample_atlas(stated, options, cancel);
  if (progress) progress(0.1, 0.0);
  const eye::EyeAtlas* atlas = sampled.atlas ? &*sampled.atlas : nullptr;
  begins(Stage::Pictures);
  const Pass pass = read_all(stated, atlas, options, progress, cancel);
  return conclude(stated, sampled, pass, options, progress, cancel);
}

}  // namespace rhumb::analyze
