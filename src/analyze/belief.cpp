#include "analyze/belief.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace rhumb::analyze {
namespace {

constexpr double about_s = 0.15;       // either way, in which readings must agree
constexpr double agrees_rad = 0.0105;  // 0.6 degrees, of a reading with the smoothed axis
constexpr double stays_rad = 0.035;    // 2 degrees, of the axis over that time
constexpr double vouching_share = 0.7;
constexpr std::size_t least_frames = 5;
// Below the probability from which an interval may be narrower than the path's reach.
constexpr double vouched_for = 0.9;

// Mean log likelihood ratio of the frames about one from which they speak for the path's axis, and
// under which they speak against it: -2.5 is said by ends that are seen to carry no marks.
constexpr double speaks = 0.5;
constexpr double speaks_against = -1.0;
constexpr double heard_s = 0.25;  // either way

bool agrees(const FineAxis& with, const FineAxis& one) {
  return one.phase == with.phase && one.own.given &&
         std::abs(one.own.value_rad - one.seen_rad) < agrees_rad &&
         std::abs(one.seen_rad - with.seen_rad) < stays_rad;
}

// Frames `within_s` of one, either way.
struct Stretch {
  std::size_t from = 0;
  std::size_t to = 0;
};

Stretch about(std::size_t frame, std::span<const double> time_s, double within_s) {
  Stretch out{frame, frame + 1};
  while (out.from > 0 && time_s[out.from - 1] >= time_s[frame] - within_s) --out.from;
  while (out.to < time_s.size() && time_s[out.to] <= time_s[frame] + within_s) ++out.to;
  return out;
}

// Mean log likelihood ratio of the frames about one for the path's axis; none where the eye is not
// in the picture.
std::optional<double> heard(const FrameReading& coarse, std::span<const double> time_s,
                            std::size_t frame) {
  double sum = 0.0;
  std::size_t count = 0;
  const Stretch near = about(frame, time_s, heard_s);
  for (std::size_t k = near.from; k < near.to; ++k) {
    if (coarse.path.phase[k] != coarse.path.phase[frame]) continue;
    if (coarse.path.evidence[k] == 0.0F) continue;  // the eye is not in the picture
    sum += static_cast<double>(coarse.path.evidence[k]);
    ++count;
  }
  if (count == 0) return std::nullopt;
  return sum / static_cast<double>(count);
}

}  // namespace

double belief(const FrameReading& coarse, const FineReading& fine, std::span<const double> time_s,
              std::size_t frame) {
  const double path = coarse.posterior.near_path[frame];
  if (!fine.frames[frame].given) return path;
  const std::optional<double> mean = heard(coarse, time_s, frame);
  // A path that must account for what comes later may hold a lens through a gap.
  if (!fine.frames[frame].followed && mean && *mean < speaks_against) return 0.0;
  // It may hold one at rest through a stretch in which nothing speaks for its axis; what
  // refinement then fits is clutter, however steady.
  if (path >= vouched_for) return mean && *mean < speaks ? std::min(path, vouched_for) : path;
  const Stretch near = about(frame, time_s, about_s);
  const std::size_t count = near.to - near.from;
  std::size_t agreeing = 0;
  for (std::size_t k = near.from; k < near.to; ++k)
    agreeing += agrees(fine.frames[frame], fine.frames[k]) ? 1 : 0;
  const bool vouches = count >= least_frames &&
                       static_cast<double>(agreeing) >= vouching_share * static_cast<double>(count);
  return vouches ? vouched_for : path;
}

}  // namespace rhumb::analyze
