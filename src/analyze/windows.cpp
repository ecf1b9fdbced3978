#include "analyze/windows.h"

#include <algorithm>
#include <cmath>

#include "analyze/acquire.h"
#include "analyze/parallel.h"

namespace rhumb::analyze {
namespace {

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
  for (lens::ContrastMap& map : maps) map = map.for_light_marks();
  window.light_contrast = lens::median_of(maps);
  if (const auto pupil = lens::find_pupil(mean, patches.geometry())) {
    window.inside = lens::pupil_mask(*pupil, options.pupil_margin, patches.geometry());
  }
}

}  // namespace

WindowReading read_windows(const lens::PatchStore& patches, std::span<const double> time_s,
                           const LensPrior& prior, const WindowOptions& options, int threads) {
  WindowReading reading;
  reading.windows = cut_windows(time_s, options.window_s);
  const std::vector<Supposition> current = suppositions_for(prior.current);
  const std::vector<Supposition> previous = suppositions_for(prior.previous);
  // Patches come back from the store one at a time; the search, which costs more, runs side by side.
  constexpr std::size_t batch = 8;
  for (std::size_t begin = 0; begin < reading.windows.size(); begin += batch) {
    const std::size_t end = std::min(reading.windows.size(), begin + batch);
    for (std::size_t k = begin; k < end; ++k) fill_window(reading.windows[k], patches, options);
    for_each_index(end - begin, threads, [&](std::size_t offset) {
      Window& window = reading.windows[begin + offset];
      if (!window.usable) return;
      window.scores[1] = search_window(window, patches.geometry(), current, {});
      if (prior.previous_lens) window.scores[0] = search_window(window, patches.geometry(), previous, {});
    });
  }
  acquire(reading, prior, patches.geometry(), options.window_s, threads);
  return reading;
}

}  // namespace rhumb::analyze
