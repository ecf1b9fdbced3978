#include "analyze/passes.h"

#include <algorithm>
#include <cstdlib>
#if defined(__GLIBC__)
#include <malloc.h>
#endif

#include "analyze/patch_mixer.h"
#include "eye/tracker.h"
#include "files/user_error.h"
#include "video/prefetch.h"
#include "video/sample.h"

namespace rhumb::analyze {
namespace {

// A limbus spans 200 pixels and more in what can be measured; the eye's routines want at least 32.
constexpr int least_side_px = 64;

// The samples' planes are freed by now, but the C library keeps them for requests of their sizes,
// of which none follow: 50 MB of the peak.
void give_back_freed_memory() {
#if defined(__GLIBC__)
  malloc_trim(0);
#endif
}

}  // namespace

SampledAtlas sample_atlas(const casefile::Case& stated, const AnalyzeOptions& options,
                          const std::stop_token& cancel) {
  const video::StreamFacts facts = video::probe(stated.video.files);
  if (std::min(facts.width, facts.height) < least_side_px) {
    SampledAtlas none;
    none.report.why_not = "the pictures are too small to see an eye in";
    return none;
  }
  const std::size_t frame_bytes = static_cast<std::size_t>(std::max(1, facts.width)) *
                                  static_cast<std::size_t>(std::max(1, facts.height)) * 3 / 2;
  video::SampleOptions sampling;
  sampling.count =
      static_cast<int>(std::clamp<std::size_t>(options.sample_memory_bytes / frame_bytes, 12,
                                               static_cast<std::size_t>(options.most_samples)));
  sampling.from_s = options.from_s;
  sampling.to_s = options.to_s;
  sampling.cancel = cancel;
  video::Sampler sampler(stated.video.files, sampling);
  std::vector<video::Frame> samples;
  while (auto frame = sampler.next()) samples.push_back(std::move(*frame));
  if (cancel.stop_requested()) throw Interrupted();
  SampledAtlas out;
  if (samples.empty()) {
    out.report.why_not = "no picture of the stretch could be read";
    return out;
  }
  out.atlas =
      eye::build_atlas(samples, stated.video.superior, stated.video.mirrored, {}, out.report);
  return out;
}

Pass read_all(const casefile::Case& stated, const eye::EyeAtlas* atlas,
              const AnalyzeOptions& options, const Progress& progress,
              const std::stop_token& cancel) {
  video::ReaderOptions reading;
  reading.from_s = options.from_s;
  reading.to_s = options.to_s;
  reading.cancel = cancel;
  give_back_freed_memory();
  video::Prefetch reader(video::Reader::open(stated.video.files, reading));
  Pass pass{{}, lens::PatchStore({}, options.patch_memory_bytes), reader.facts(), {}, {}};
  std::optional<eye::EyeTracker> tracker;
  eye::TrackerOptions tracking;
  tracking.only_similarity = options.left_out.affine;
  tracking.chained = options.left_out.atlas;
  if (atlas != nullptr) tracker.emplace(*atlas, tracking);
  PictureChoice choice(stated, options.left_out.skipping);
  PatchMixer mixer(pass.patches);
  const double promised = std::max(1e-3, pass.facts.promised_duration_s);
  std::optional<double> last_s;
  while (auto frame = reader.next()) {
    const double interval_s = last_s ? frame->time_s - *last_s : 0.0;
    last_s = frame->time_s;
    if (!choice.looks_at(frame->time_s, frame->is_key)) {
      pass.skipped.push_back({frame->index, frame->time_s, frame->damaged});
      mixer.pass_over(std::move(*frame));
      continue;
    }
    SeenFrame seen{frame->index, frame->time_s, frame->damaged, {}, frame->is_key, interval_s};
    if (tracker) seen.pose = tracker->track(*frame);
    mixer.look_at(*frame, seen.pose);
    pass.iris.add(*frame, seen.pose);
    pass.frames.push_back(std::move(seen));
    if (progress && pass.frames.size() % 16 == 0) {
      progress(0.1 + 0.6 * std::min(1.0, frame->time_s / promised), frame->time_s);
    }
  }
  if (cancel.stop_requested()) throw Interrupted();
  mixer.finish();
  pass.iris.finish();
  pass.facts = reader.facts();
  return pass;
}

}  // namespace rhumb::analyze
