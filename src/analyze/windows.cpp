#include "analyze/windows.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "analyze/acquire.h"
#include "analyze/parallel.h"
#include "lens/ring_flatten.h"

namespace rhumb::analyze {
namespace {

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

void fill_window(Window& window, const std::vector<lens::Patch>& patches,
                 const lens::PatchGeometry& geometry, const WindowOptions& options) {
  std::vector<lens::ContrastMap> maps;
  const cv::Size size(geometry.size_px, geometry.size_px);
  cv::Mat1f luma(size, 0.0F);
  cv::Mat1f saturation(size, 0.0F);
  for (const lens::Patch& patch : patches) {
    maps.push_back(lens::contrast_map(patch, geometry, {}));
    cv::accumulate(patch.luma, luma);
    cv::accumulate(patch.saturation, saturation);
  }
  luma /= static_cast<double>(patches.size());
  saturation /= static_cast<double>(patches.size());
  window.contrast = lens::median_of(maps);
  for (lens::ContrastMap& map : maps) map = map.for_light_marks();
  window.light_contrast = lens::median_of(maps);
  for (lens::ContrastMap* map : {&window.contrast, &window.light_contrast})
    lens::flatten_rings(*map, geometry);
  if (const auto pupil = lens::find_pupil(luma, saturation, geometry)) {
    window.inside = lens::pupil_mask(*pupil, options.pupil_margin, geometry);
  }
}

// Fills the windows of these numbers side by side and hands each to `body`.
template <typename Body>
void fill_windows(std::vector<Window>& windows, const std::vector<std::size_t>& which,
                  const lens::PatchStore& patches, const WindowOptions& options, int threads,
                  const Body& body) {
  for_each_index(which.size(), threads, [&](std::size_t k) {
    Window& window = windows[which[k]];
    const auto frames = frames_of(window, patches, options.most_patches);
    window.usable =
        2 * frames.size() >= std::min<std::size_t>(6, window.frame_count) && !frames.empty();
    if (!window.usable) return;
    std::vector<lens::Patch> shown;
    shown.reserve(frames.size());
    for (const std::size_t frame : frames) shown.push_back(patches.at(frame));
    fill_window(window, shown, patches.geometry(), options);
    body(which[k]);
  });
}

}  // namespace

std::vector<std::size_t> frames_of(const Window& window, const lens::PatchStore& patches,
                                   int most) {
  std::vector<std::size_t> have;
  for (std::size_t k = 0; k < window.frame_count; ++k) {
    if (patches.has(window.first_frame + k)) have.push_back(window.first_frame + k);
  }
  if (have.size() <= static_cast<std::size_t>(most)) return have;
  std::vector<std::size_t> spread;
  spread.reserve(static_cast<std::size_t>(most));
  for (int k = 0; k < most; ++k) {
    spread.push_back(have[(2 * static_cast<std::size_t>(k) + 1) * have.size() /
                          (2 * static_cast<std::size_t>(most))]);
  }
  return spread;
}

WindowReading read_windows(const lens::PatchStore& patches, std::span<const double> time_s,
                           const LensPrior& prior, const WindowOptions& options, int threads) {
  WindowReading reading;
  reading.windows = cut_windows(time_s, options.window_s);
  const std::size_t stride = std::max<std::size_t>(
      1, (reading.windows.size() + options.most_learned - 1) / options.most_learned);
  std::vector<std::size_t> learned;
  std::vector<std::size_t> others;
  for (std::size_t k = 0; k < reading.windows.size(); ++k)
    (k % stride == 0 ? learned : others).push_back(k);
  fill_windows(reading.windows, learned, patches, options, threads, [](std::size_t) {});
  Acquired acquired =
      acquire(reading.windows, prior, patches.geometry(), options.window_s, threads);
  const auto release = [](Window& window) { window.contrast = window.light_contrast = {}; };
  for (Window& window : reading.windows) release(window);
  fill_windows(reading.windows, others, patches, options, threads, [&](std::size_t k) {
    Window& window = reading.windows[k];
    acquired.scores[k] = score_window(window, acquired, patches.geometry());
    window.searched = true;
    release(window);
  });
  follow(reading, acquired, prior, options.window_s);
  return reading;
}

}  // namespace rhumb::analyze
