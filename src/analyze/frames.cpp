#include "analyze/frames.h"

#include <algorithm>
#include <cmath>

#include "analyze/frame_scores.h"
#include "analyze/parallel.h"
#include "analyze/quantile.h"
#include "lens/ring_flatten.h"

namespace rhumb::analyze {
namespace {

using timeline::AxisEvidence;
using timeline::Phase;

// Frames next to each other share clutter and compression, so their evidence adds up to less than
// its sum.
constexpr float share_of_new_evidence = 0.5F;
constexpr double longest_step_s =
    0.1;  // of the Markov model; more frames than this are taken together
constexpr std::size_t most_fine_steps = 6000;
constexpr float sure_lens =
    0.95F;  // posterior probability of a lens from which one is taken for known

float covered_share(const lens::ContrastMap& map, const cv::Mat1b& inside) {
  if (inside.empty()) return -1.0F;
  cv::Mat1b seen;
  cv::bitwise_and(map.usable, inside, seen);
  return 1.0F - static_cast<float>(cv::countNonZero(seen)) /
                    static_cast<float>(std::max(1, cv::countNonZero(inside)));
}

void add_evidence(AxisEvidence& sum, const lens::AxisScores& scores, float chance) {
  for (std::size_t axis = 0; axis < lens::axis_count; ++axis) {
    sum.log_ratio[axis] += share_of_new_evidence * std::max(-5.0F, scores.total[axis] - chance);
  }
}

// A resting lens is read some twelve times a second, a moving one thirty times.
std::size_t stride_at(const WindowReading& windows, std::size_t frame, double frame_s) {
  constexpr double rest_step_s = 0.08;
  constexpr double moving_step_s = 0.034;
  const auto stride = [frame_s](double step_s) {
    return std::max<std::size_t>(1, static_cast<std::size_t>(step_s / frame_s));
  };
  const std::size_t own = window_of(windows, frame);
  for (const std::size_t near :
       {own > 0 ? own - 1 : own, own, std::min(own + 1, windows.windows.size() - 1)}) {
    if (windows.path.phase[near] != windows.path.phase[own] || windows.path.moving[near] ||
        windows.path.axis_deg[near] != windows.path.axis_deg[own])
      return stride(moving_step_s);
  }
  return stride(rest_step_s);
}

// Whether the windows leave it open that this lens lies there: up to a second beyond its own
// stretch.
bool could_be_here(const WindowReading& windows, std::size_t frame, Phase phase) {
  const std::size_t own = window_of(windows, frame);
  const std::size_t from = own > 2 ? own - 2 : 0;
  const std::size_t to = std::min(own + 2, windows.windows.size() - 1);
  for (std::size_t near = from; near <= to; ++near) {
    if (windows.path.phase[near] == phase) return true;
  }
  const Phase other = phase == Phase::New ? Phase::Previous : Phase::New;
  return windows.path.phase[own] != other;
}

// Windows average what moves against the eye away; single frames can't. So an axis that lies
// outside the range of the windows' path about a step costs something, whatever a bubble or an
// instrument's shaft looks like in the frame.
void keep_near_windows(const WindowReading& windows, std::size_t first_frame,
                       AxisEvidence& previous, AxisEvidence& current) {
  constexpr int margin = 8;  // degrees beyond the path's own range
  constexpr float cost_per_degree = 0.1F;
  constexpr float most = 2.0F;
  const std::size_t own = window_of(windows, first_frame);
  const Phase phase = windows.path.phase[own];
  if (phase == Phase::None) return;
  int low = 0;
  int high = 0;
  for (const std::size_t near :
       {own > 0 ? own - 1 : own, std::min(own + 1, windows.windows.size() - 1)}) {
    if (windows.path.phase[near] != phase) continue;
    const int turn =
        (windows.path.axis_deg[near] - windows.path.axis_deg[own] + 270) % lens::axis_count - 90;
    low = std::min(low, turn);
    high = std::max(high, turn);
  }
  AxisEvidence& evidence = phase == Phase::Previous ? previous : current;
  for (int axis = 0; axis < lens::axis_count; ++axis) {
    const int turn = (axis - windows.path.axis_deg[own] + 270) % lens::axis_count - 90;
    const int beyond = std::max({0, low - margin - turn, turn - high - margin});
    evidence.log_ratio[static_cast<std::size_t>(axis)] -=
        std::min(most, cost_per_degree * static_cast<float>(beyond));
  }
}

}  // namespace

FrameReading read_frames(const lens::PatchStore& patches, std::span<const double> time_s,
                         const WindowReading& windows, const LensPrior& prior, int threads) {
  FrameReading reading;
  const std::size_t frames = patches.size();
  reading.covered.assign(frames, -1.0F);
  const FrameScores reader{patches, windows};
  std::array<Calibration, 2> calibration;
  if (windows.previous)
    calibration[0] = calibrate(reader, Phase::Previous, *windows.previous, threads);
  if (windows.current) calibration[1] = calibrate(reader, Phase::New, *windows.current, threads);

  const double span_s = frames > 1 ? time_s.back() - time_s.front() : 0.0;
  const double frame_s =
      frames > 1 ? std::max(1e-3, span_s / static_cast<double>(frames - 1)) : 0.04;
  const std::size_t group =
      frames <= most_fine_steps
          ? 1
          : std::max<std::size_t>(1,
                                  static_cast<std::size_t>(std::lround(longest_step_s / frame_s)));
  const std::size_t steps = (frames + group - 1) / group;
  std::vector<AxisEvidence> previous(steps);
  std::vector<AxisEvidence> current(steps);
  for_each_index(steps, threads, [&](std::size_t step) {
    for (std::size_t frame = step * group; frame < std::min(frames, (step + 1) * group); ++frame) {
      if (!patches.has(frame) || frame % stride_at(windows, frame, frame_s) != 0) continue;
      auto map = lens::contrast_map(patches.at(frame), patches.geometry(), {});
      reading.covered[frame] = covered_share(map, mask_of(windows, frame));
      lens::flatten_rings(map, patches.geometry());
      for (const Phase phase : {Phase::Previous, Phase::New}) {
        const auto& signature = phase == Phase::Previous ? windows.previous : windows.current;
        if (!signature || !could_be_here(windows, frame, phase)) continue;
        const Calibration& known = calibration[phase == Phase::Previous ? 0 : 1];
        add_evidence(phase == Phase::Previous ? previous[step] : current[step],
                     reader.scores(map, frame, phase, *signature, known.crossing), known.chance);
      }
    }
  });
  // Frames that were passed over say what the last one read said: they show the same picture.
  for (std::size_t frame = 1; frame < frames; ++frame) {
    if (reading.covered[frame] < 0.0F && patches.has(frame))
      reading.covered[frame] = reading.covered[frame - 1];
  }
  for (std::size_t step = 1; step < steps && group == 1; ++step) {
    if (step % stride_at(windows, step, frame_s) == 0 || !patches.has(step)) continue;
    previous[step] = previous[step - 1];
    current[step] = current[step - 1];
  }
  for (std::size_t step = 0; step < steps; ++step) {
    keep_near_windows(windows, step * group, previous[step], current[step]);
  }
  timeline::AxisModelOptions model;
  model.step_s = frame_s * static_cast<double>(group);
  model.previous_lens = prior.previous_lens && windows.previous.has_value();
  auto path = timeline::most_probable_path(previous, current, model);
  timeline::subtract_standing_clutter(path, previous, current);
  path = timeline::most_probable_path(previous, current, model);
  auto posterior = timeline::posterior_about(path, previous, current, model);
  std::vector<char> sure(steps, 0);
  for (std::size_t step = 0; step < steps; ++step)
    sure[step] = posterior.lens[step] > sure_lens ? 1 : 0;
  path = timeline::most_probable_path(previous, current, model, sure);
  posterior = timeline::posterior_about(path, previous, current, model);
  reading.path.log_ratio = path.log_ratio;
  for (std::size_t frame = 0; frame < frames; ++frame) {
    const std::size_t step = frame / group;
    reading.path.phase.push_back(path.phase[step]);
    reading.path.axis_deg.push_back(path.axis_deg[step]);
    reading.path.moving.push_back(path.moving[step]);
    reading.path.evidence.push_back(path.evidence[step] / static_cast<float>(group));
    reading.posterior.lens.push_back(posterior.lens[step]);
    reading.posterior.near_path.push_back(posterior.near_path[step]);
    reading.posterior.moving.push_back(posterior.moving[step]);
    const auto& signature =
        path.phase[step] == Phase::Previous ? windows.previous : windows.current;
    reading.centre.push_back(path.phase[step] == Phase::None || !signature
                                 ? Eigen::Vector2d::Zero()
                                 : centre_at(windows, frame, path.phase[step], *signature));
  }
  return reading;
}

}  // namespace rhumb::analyze
