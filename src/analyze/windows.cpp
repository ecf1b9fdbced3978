#include "analyze/windows.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analyze/parallel.h"

namespace rhumb::analyze {
namespace {

using timeline::AxisEvidence;
using timeline::AxisPath;
using timeline::Phase;

// Frames of a window that have a patch, spread evenly, at most `most`.
std::vector<std::size_t> frames_of(const Window& window, const lens::PatchStore& patches, int most) {
  std::vector<std::size_t> have;
  for (std::size_t k = 0; k < window.frame_count; ++k) {
    if (patches.has(window.first_frame + k)) have.push_back(window.first_frame + k);
  }
  if (have.size() <= static_cast<std::size_t>(most)) return have;
  std::vector<std::size_t> spread;
  for (int k = 0; k < most; ++k) {
    spread.push_back(have[(2 * static_cast<std::size_t>(k) + 1) * have.size() /
                          (2 * static_cast<std::size_t>(most))]);
  }
  return spread;
}

std::vector<Window> cut_windows(std::span<const double> time_s, double window_s) {
  std::vector<Window> windows;
  std::size_t first = 0;
  while (first < time_s.size()) {
    Window window;
    window.first_frame = first;
    std::size_t end = first + 1;
    while (end < time_s.size() && time_s[end] < time_s[first] + window_s - 1e-6) ++end;
    window.frame_count = end - first;
    windows.push_back(std::move(window));
    first = end;
  }
  return windows;
}

void fill_window(Window& window, const lens::PatchStore& patches, const WindowOptions& options) {
  const auto frames = frames_of(window, patches, options.most_patches);
  window.usable = 2 * frames.size() >= std::min<std::size_t>(6, window.frame_count) && !frames.empty();
  if (!window.usable) return;
  std::vector<lens::ContrastMap> maps;
  cv::Mat1f mean;
  for (const std::size_t frame : frames) {
    const lens::Patch patch = patches.at(frame);
    maps.push_back(lens::contrast_map(patch, patches.geometry(), {}));
    cv::Mat1f luma;
    patch.luma.convertTo(luma, CV_32F);
    mean = mean.empty() ? luma : cv::Mat1f(mean + luma);
  }
  mean /= static_cast<double>(frames.size());
  window.contrast = lens::median_of(maps);
  if (const auto pupil = lens::find_pupil(mean, patches.geometry())) {
    window.inside = lens::pupil_mask(*pupil, options.pupil_margin, patches.geometry());
  }
}

// `chance`: the total that the best of many axes and centres reaches where there is no mark.
AxisEvidence evidence_from(const lens::AxisScores& scores, float chance) {
  AxisEvidence evidence;
  for (std::size_t axis = 0; axis < lens::axis_count; ++axis) {
    evidence.log_ratio[axis] = std::max(-6.0F, scores.total[axis] - chance);
  }
  return evidence;
}

float best_total(const lens::AxisScores& scores) {
  return *std::max_element(scores.total.begin(), scores.total.end());
}

// What a window must exceed to speak for marks: a little under half of what the better windows reach. Clear marks
// make the rest of the recording clearly empty; faint ones are given the benefit of adding up.
float chance_level(std::vector<float> best_totals) {
  if (best_totals.empty()) return 2.0F;
  const auto place = best_totals.begin() + static_cast<std::ptrdiff_t>(3 * (best_totals.size() - 1) / 4);
  std::nth_element(best_totals.begin(), place, best_totals.end());
  return std::clamp(0.45F * *place, 1.5F, 6.0F);
}

std::vector<AxisEvidence> evidence_for(const std::vector<Window>& windows, std::size_t look) {
  std::vector<float> best;
  for (const Window& window : windows) {
    if (window.usable) best.push_back(best_total(window.by_look[look]));
  }
  const float chance = chance_level(std::move(best));
  std::vector<AxisEvidence> out(windows.size());
  for (std::size_t k = 0; k < windows.size(); ++k) {
    if (windows[k].usable) out[k] = evidence_from(windows[k].by_look[look], chance);
  }
  return out;
}

bool both_ends_strong(const lens::AxisScores& scores, int axis) {
  const auto index = static_cast<std::size_t>(axis);
  return scores.end_a[index] > 4.0F && scores.end_b[index] > 4.0F;
}

bool rests(const AxisPath& path, std::size_t step) {
  const auto same = [&](std::size_t other) {
    if (path.axis_deg[other] < 0) return true;
    const int apart = std::abs(path.axis_deg[other] - path.axis_deg[step]);
    return std::min(apart, timeline::axis_count - apart) <= 2;
  };
  return (step == 0 || same(step - 1)) && (step + 1 == path.axis_deg.size() || same(step + 1));
}

// Mean contrast along the two rays of each strong window of a phase.
std::optional<MarkSignature> learn(const std::vector<Window>& windows, const AxisPath& path, Phase phase,
                                   std::size_t look, const lens::PatchGeometry& geometry) {
  const int distances = radial_grid.count;
  std::array<std::vector<double>, lens::channel_count> sum;
  std::vector<double> count(static_cast<std::size_t>(distances), 0.0);
  for (auto& channel : sum) channel.assign(static_cast<std::size_t>(distances), 0.0);
  std::vector<double> centre_x;
  std::vector<double> centre_y;
  std::vector<double> end_scores;
  for (const bool only_resting : {true, false}) {
    for (std::size_t step = 0; step < windows.size(); ++step) {
      if (path.phase[step] != phase || !windows[step].usable) continue;
      const auto& scores = windows[step].by_look[look];
      if (!both_ends_strong(scores, path.axis_deg[step])) continue;
      if (only_resting && !rests(path, step)) continue;
      const auto axis = static_cast<std::size_t>(path.axis_deg[step]);
      const Eigen::Vector2d centre = scores.centre[axis].cast<double>();
      const lens::RayMap rays =
          lens::ray_map(windows[step].contrast, windows[step].inside, geometry, centre, radial_grid);
      end_scores.push_back(scores.end_a[axis]);
      end_scores.push_back(scores.end_b[axis]);
      centre_x.push_back(centre.x());
      centre_y.push_back(centre.y());
      for (const int ray : {path.axis_deg[step], path.axis_deg[step] + lens::axis_count}) {
        for (int distance = 0; distance < distances; ++distance) {
          if (!rays.usable(ray, distance)) continue;
          const auto index = static_cast<std::size_t>(distance);
          count[index] += 1.0;
          for (std::size_t channel = 0; channel < lens::channel_count; ++channel) {
            sum[channel][index] += std::clamp(rays.value[channel](ray, distance), -12.0F, 12.0F);
          }
        }
      }
    }
    if (centre_x.size() >= 3) break;
  }
  if (centre_x.empty()) return std::nullopt;

  MarkSignature signature;
  signature.windows = static_cast<int>(centre_x.size());
  const auto median = [](std::vector<double>& values) {
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2),
                     values.end());
    return values[values.size() / 2];
  };
  signature.centre = {median(centre_x), median(centre_y)};
  // A mark is taken for one from a little under half of what these marks usually score.
  signature.profile.crossing = static_cast<float>(std::clamp(0.45 * median(end_scores), 3.5, 9.0));
  const double most_seen = *std::max_element(count.begin(), count.end());
  float largest = 0.0F;
  for (std::size_t channel = 0; channel < lens::channel_count; ++channel) {
    for (std::size_t index = 0; index < count.size(); ++index) {
      const double mean = count[index] > 0.15 * most_seen ? sum[channel][index] / count[index] : 0.0;
      // Soft threshold: what is not clearly there gets no say.
      const double kept = std::max(0.0, std::abs(mean) - 1.0);
      signature.profile.weight[channel].push_back(static_cast<float>(std::copysign(kept, mean)));
      largest = std::max(largest, static_cast<float>(kept));
    }
  }
  // Inside the marks the meridian is empty.
  const auto holds_mark = [&](std::size_t index) {
    return std::any_of(signature.profile.weight.begin(), signature.profile.weight.end(),
                       [&](const auto& weights) { return std::abs(weights[index]) > 0.15F * largest; });
  };
  std::size_t first = 0;
  while (first < count.size() && !holds_mark(first)) ++first;
  signature.profile.empty_below = first < count.size() && first > 2 ? static_cast<int>(first) - 2 : 0;
  return signature;
}

struct Choice {
  std::size_t previous = 0;
  std::size_t current = 0;
  AxisPath path;
};

timeline::AxisModelOptions model_for(const LensPrior& prior, double step_s) {
  timeline::AxisModelOptions options;
  options.step_s = step_s;
  options.previous_lens = prior.previous_lens;
  return options;
}

// The looks of the lenses, and the path, that explain the windows best.
Choice choose_looks(const std::vector<Window>& windows, const LensPrior& prior, double step_s) {
  const std::size_t looks = lens::mark_looks.size();
  std::vector<std::vector<AxisEvidence>> evidence;
  for (std::size_t look = 0; look < looks; ++look) evidence.push_back(evidence_for(windows, look));
  Choice best;
  best.path.log_ratio = -std::numeric_limits<double>::infinity();
  for (std::size_t previous = 0; previous < (prior.previous_lens ? looks : 1); ++previous) {
    for (std::size_t current = 0; current < looks; ++current) {
      const AxisPath path = timeline::most_probable_path(evidence[previous], evidence[current],
                                                         model_for(prior, step_s));
      if (path.log_ratio > best.path.log_ratio) best = {previous, current, path};
    }
  }
  return best;
}

}  // namespace

WindowReading read_windows(const lens::PatchStore& patches, std::span<const double> time_s,
                           const LensPrior& prior, const WindowOptions& options, int threads) {
  WindowReading reading;
  reading.windows = cut_windows(time_s, options.window_s);
  std::vector<lens::MarkProfile> looks;
  for (const lens::MarkLook look : lens::mark_looks) {
    looks.push_back(lens::uninformed_profile(look, prior.optic_radius, radial_grid));
  }
  // Patches come back from the store one at a time; the search, which costs more, runs side by side.
  constexpr std::size_t batch = 8;
  for (std::size_t begin = 0; begin < reading.windows.size(); begin += batch) {
    const std::size_t end = std::min(reading.windows.size(), begin + batch);
    for (std::size_t k = begin; k < end; ++k) fill_window(reading.windows[k], patches, options);
    for_each_index(end - begin, threads, [&](std::size_t offset) {
      Window& window = reading.windows[begin + offset];
      if (!window.usable) return;
      window.by_look = lens::search_axis(window.contrast, window.inside, patches.geometry(), radial_grid,
                                         {}, looks);
    });
  }
  const Choice choice = choose_looks(reading.windows, prior, options.window_s);
  reading.path = choice.path;
  reading.log_ratio = choice.path.log_ratio;
  if (prior.previous_lens) {
    reading.previous = learn(reading.windows, reading.path, Phase::Previous, choice.previous,
                             patches.geometry());
  }
  reading.current = learn(reading.windows, reading.path, Phase::New, choice.current, patches.geometry());

  // Again with what the marks really look like.
  std::vector<AxisEvidence> previous(reading.windows.size());
  std::vector<AxisEvidence> current(reading.windows.size());
  std::vector<std::array<lens::AxisScores, 2>> scores(reading.windows.size());
  for_each_index(reading.windows.size(), threads, [&](std::size_t step) {
    const Window& window = reading.windows[step];
    if (!window.usable) return;
    for (const bool is_new : {false, true}) {
      const auto& signature = is_new ? reading.current : reading.previous;
      if (!signature) continue;
      lens::CentreGrid centres;
      centres.middle = signature->centre;
      centres.step = 0.02;
      centres.reach = 3;
      centres.spread = 0.04;
      const auto found = lens::search_axis(window.contrast, window.inside, patches.geometry(), radial_grid,
                                           centres, std::span(&signature->profile, 1));
      scores[step][is_new ? 1 : 0] = found.front();
    }
  });
  for (const bool is_new : {false, true}) {
    if (!(is_new ? reading.current : reading.previous)) continue;
    std::vector<float> best;
    for (std::size_t step = 0; step < reading.windows.size(); ++step) {
      if (!reading.windows[step].usable) continue;
      best.push_back(best_total(scores[step][is_new ? 1 : 0]));
    }
    const float chance = chance_level(std::move(best));
    for (std::size_t step = 0; step < reading.windows.size(); ++step) {
      if (!reading.windows[step].usable) continue;
      (is_new ? current : previous)[step] = evidence_from(scores[step][is_new ? 1 : 0], chance);
    }
  }
  reading.path = timeline::most_probable_path(previous, current, model_for(prior, options.window_s));
  timeline::subtract_standing_clutter(reading.path, previous, current);
  reading.path = timeline::most_probable_path(previous, current, model_for(prior, options.window_s));
  reading.log_ratio = reading.path.log_ratio;
  reading.centre.assign(reading.windows.size(), Eigen::Vector2d::Zero());
  for (std::size_t step = 0; step < reading.windows.size(); ++step) {
    if (reading.path.axis_deg[step] < 0) continue;
    const bool is_new = reading.path.phase[step] == Phase::New;
    const auto& signature = is_new ? reading.current : reading.previous;
    reading.centre[step] = signature ? signature->centre : Eigen::Vector2d::Zero();
    if (!reading.windows[step].usable) continue;
    const auto& found = scores[step][is_new ? 1 : 0];
    if (both_ends_strong(found, reading.path.axis_deg[step])) {
      reading.centre[step] = found.centre[static_cast<std::size_t>(reading.path.axis_deg[step])].cast<double>();
    }
  }
  return reading;
}

}  // namespace rhumb::analyze
