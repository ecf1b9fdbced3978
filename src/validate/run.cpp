#include "validate/run.h"

#include <fmt/core.h>

#include <atomic>
#include <chrono>
#include <mutex>
#include <thread>

#include "analyze/analyze.h"
#include "angle/angle.h"
#include "casefile/read.h"
#include "files/user_error.h"
#include "render/produce.h"
#include "validate/clip_file.h"

namespace rhumb::validate {
namespace {

namespace fs = std::filesystem;

// Everything that a clip's score depends on. The suite makes the scene from seed, name and the
// picture's size and length, by rules that the build stands for.
std::string key_of(const Clip& clip, const std::string& build) {
  const render::Scene& s = clip.scene;
  std::string key =
      fmt::format("{} {} {} seed {} {}x{} {:g} s {:g} fps", RHUMB_VERSION, build, clip.name, s.seed,
                  s.camera.width, s.camera.height, s.seconds, s.camera.fps);
  for (const Condition& c : clip.conditions) key += fmt::format(", {} {:g}", c.group, c.level);
  return key;
}

// Without a reference axes count from the picture's horizontal in the first clear frame: only their
// changes can be held against the truth, so the truth is turned by the median difference.
std::vector<render::TruthRow> counted_alike(std::vector<render::TruthRow> truth,
                                            const outcome::CaseOutcome& outcome) {
  std::vector<double> turns;
  for (const outcome::TimelineRow& row : outcome.rows)
    if (row.axis && row.frame >= 0 && row.frame < static_cast<std::int64_t>(truth.size()))
      if (const auto& axis = truth[static_cast<std::size_t>(row.frame)].axis_rad)
        turns.push_back(angle::wrap_deviation(row.axis->value_rad - *axis));
  const double turn = median(turns);
  for (render::TruthRow& t : truth)
    if (t.axis_rad) t.axis_rad = angle::wrap_axis(*t.axis_rad + turn);
  return truth;
}

ClipScore run_clip(const Clip& clip, const fs::path& work, const RunOptions& options) {
  render::ProduceOptions producing;
  producing.threads = 1;
  producing.cancel = options.cancel;
  const std::vector<render::TruthRow> truth =
      render::produce_recording(clip.scene, work, producing);
  const auto start = std::chrono::steady_clock::now();
  const casefile::Case stated = casefile::read_case(work / "case.toml");
  analyze::AnalyzeOptions analysis;
  analysis.threads = 1;
  const outcome::CaseOutcome outcome = analyze::analyze(
      stated, analysis, [](double, double) {}, options.cancel);
  ClipScore scored =
      score(outcome,
            clip.scene.reference == render::Reference::None ? counted_alike(truth, outcome) : truth,
            ScoreRules{});
  scored.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  scored.clip = clip.name;
  scored.conditions = clip.conditions;
  scored.seed = clip.scene.seed;
  return scored;
}

}  // namespace

std::vector<ClipScore> run_suite(const std::vector<Clip>& clips, const fs::path& folder,
                                 const RunOptions& options) {
  std::vector<ClipScore> scores(clips.size());
  std::atomic<std::size_t> next{0};
  std::atomic<int> done{0};
  std::mutex guard;
  std::exception_ptr failure;
  const auto work = [&] {
    for (std::size_t i = next++; i < clips.size(); i = next++) {
      try {
        if (options.cancel.stop_requested()) throw Interrupted();
        const fs::path file = folder / "clips" / (clips[i].name + ".json");
        const std::string key = key_of(clips[i], options.build);
        if (auto known = read_clip(file, key)) {
          scores[i] = std::move(*known);
        } else {
          const fs::path place = folder / "work" / clips[i].name;
          scores[i] = run_clip(clips[i], place, options);
          write_clip(file, key, scores[i]);
          if (!options.keep_videos) fs::remove_all(place);
        }
        const std::lock_guard lock(guard);
        if (options.progress) options.progress(++done, static_cast<int>(clips.size()), scores[i]);
      } catch (...) {
        const std::lock_guard lock(guard);
        if (!failure) failure = std::current_exception();
        next = clips.size();
      }
    }
  };
  {
    std::vector<std::jthread> pool;
    for (int i = 1; i < options.workers; ++i) pool.emplace_back(work);
    work();
  }
  if (failure) std::rethrow_exception(failure);
  std::error_code ignored;
  if (!options.keep_videos) fs::remove_all(folder / "work", ignored);
  return scores;
}

}  // namespace rhumb::validate
