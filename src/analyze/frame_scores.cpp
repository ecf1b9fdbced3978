#include "analyze/frame_scores.h"

#include <algorithm>

#include "analyze/parallel.h"
#include "analyze/quantile.h"
#include "lens/ring_flatten.h"

namespace rhumb::analyze {

using timeline::Phase;

std::size_t window_of(const WindowReading& windows, std::size_t frame) {
  const auto after = std::upper_bound(
      windows.windows.begin(), windows.windows.end(), frame,
      [](std::size_t value, const Window& window) { return value < window.first_frame; });
  return static_cast<std::size_t>(after - windows.windows.begin()) - 1;
}

const cv::Mat1b& mask_of(const WindowReading& windows, std::size_t frame) {
  return windows.windows[window_of(windows, frame)].inside;
}

Eigen::Vector2d centre_at(const WindowReading& windows, std::size_t frame, Phase phase,
                          const MarkSignature& signature) {
  const std::size_t own = window_of(windows, frame);
  const auto middle = [&](std::size_t k) {
    return static_cast<double>(windows.windows[k].first_frame) +
           0.5 * static_cast<double>(windows.windows[k].frame_count - 1);
  };
  const auto has = [&](std::size_t k) { return windows.path.phase[k] == phase; };
  const double at = static_cast<double>(frame);
  std::size_t left = own;
  std::size_t right = own;
  if (at < middle(own) && own > 0) left = own - 1;
  if (at > middle(own) && own + 1 < windows.windows.size()) right = own + 1;
  if (has(left) && has(right) && left != right) {
    const double share = (at - middle(left)) / (middle(right) - middle(left));
    return (1.0 - share) * windows.centre[left] + share * windows.centre[right];
  }
  for (const std::size_t k : {own, left, right}) {
    if (has(k)) return windows.centre[k];
  }
  return signature.centre;
}

lens::AxisScores FrameScores::scores(const lens::ContrastMap& map, std::size_t frame, Phase phase,
                                     const MarkSignature& signature, float crossing) const {
  lens::CentreGrid centres;
  centres.middle = centre_at(windows, frame, phase, signature);
  // Where the window saw both ends of a lens at rest its centre is good; elsewhere it is a guess.
  const std::size_t window = window_of(windows, frame);
  const bool known = windows.path.phase[window] == phase && !windows.path.moving[window];
  centres.step = known ? 0.02 : 0.024;
  centres.reach = known ? 1 : 2;
  centres.spread = known ? 0.02 : 0.035;
  lens::MarkProfile profile = signature.profile;
  profile.crossing = crossing;
  const lens::Marks marks = profile;
  return lens::search_axis(signature.light ? map.for_light_marks() : map, mask_of(windows, frame),
                           patches.geometry(), radial_grid, centres, {&marks, 1})
      .front();
}

namespace {

// Some 80 frames of the lens's own windows in which it rests.
std::vector<std::size_t> own_frames(const FrameScores& reader, Phase phase) {
  std::vector<std::size_t> frames;
  for (std::size_t k = 0; k < reader.windows.windows.size(); ++k) {
    if (reader.windows.path.phase[k] != phase || reader.windows.path.moving[k]) continue;
    const Window& window = reader.windows.windows[k];
    for (std::size_t f = 0; f < window.frame_count; ++f) frames.push_back(window.first_frame + f);
  }
  const std::size_t stride = std::max<std::size_t>(1, frames.size() / 80);
  std::vector<std::size_t> some;
  for (std::size_t k = 0; k < frames.size(); k += stride)
    if (reader.patches.has(frames[k])) some.push_back(frames[k]);
  return some;
}

}  // namespace

Calibration calibrate(const FrameScores& reader, Phase phase, const MarkSignature& signature,
                      int threads) {
  const std::vector<std::size_t> frames = own_frames(reader, phase);
  std::vector<lens::ContrastMap> maps(frames.size());
  std::vector<lens::AxisScores> scores(frames.size());
  for_each_index(frames.size(), threads, [&](std::size_t k) {
    maps[k] = lens::contrast_map(reader.patches.at(frames[k]), reader.patches.geometry(), {});
    lens::flatten_rings(maps[k], reader.patches.geometry());
    scores[k] = reader.scores(maps[k], frames[k], phase, signature, 3.0F);
  });
  std::vector<float> ends;
  for (std::size_t k = 0; k < frames.size(); ++k) {
    // The path's degree is a window's; the frame's best within a degree of it.
    const int degree = reader.windows.path.axis_deg[window_of(reader.windows, frames[k])];
    const auto& total = scores[k].total;
    for (const int turn : {-1, 0, 1}) {
      const auto axis =
          static_cast<std::size_t>((degree + turn + lens::axis_count) % lens::axis_count);
      if (turn != 0 && total[axis] <= total[static_cast<std::size_t>(degree)]) continue;
      ends.push_back(scores[k].end_a[axis]);
      ends.push_back(scores[k].end_b[axis]);
    }
  }
  Calibration calibration;
  calibration.crossing = std::clamp(0.45F * quantile(ends, 0.5, 6.0F), 1.8F, 9.0F);
  std::vector<float> best(frames.size());
  for_each_index(frames.size(), threads, [&](std::size_t k) {
    const auto at_crossing =
        reader.scores(maps[k], frames[k], phase, signature, calibration.crossing);
    best[k] = *std::max_element(at_crossing.total.begin(), at_crossing.total.end());
  });
  // As for windows: a little under half of what the marks reach where they are seen.
  calibration.chance = std::clamp(0.4F * quantile(best, 0.6, 4.0F), 1.0F, 6.0F);
  return calibration;
}

}  // namespace rhumb::analyze
