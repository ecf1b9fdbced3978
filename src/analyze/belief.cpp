#include "analyze/belief.h"

#include <algorithm>
#include <cmath>

namespace rhumb::analyze {
namespace {

constexpr double about_s = 0.15;       // either way, in which readings must agree
constexpr double agrees_rad = 0.0105;  // 0.6 degrees, of a reading with the smoothed axis
constexpr double stays_rad = 0.035;    // 2 degrees, of the axis over that time
constexpr double vouching_share = 0.7;
constexpr std::size_t least_frames = 5;
// Below the probability from which an interval may be narrower than the path's reach.
constexpr double vouched_for = 0.9;

// Mean log likelihood ratio of the frames about one from which they speak for the path's axis.
constexpr double speaks = 0.5;
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

// A path may hold a lens at rest through a stretch in which nothing speaks for its axis; what
// refinement then fits is clutter, however steady.
bool is_silent(const FrameReading& coarse, std::span<const double> time_s, std::size_t frame) {
  double sum = 0.0;
  std::size_t count = 0;
  const Stretch near = about(frame, time_s, heard_s);
  for (std::size_t k = near.from; k < near.to; ++k) {
    if (coarse.path.phase[k] != coarse.path.phase[frame]) continue;
    if (coarse.path.evidence[k] == 0.0F) continue;  // the eye is not in the picture
    sum += static_cast<double>(coarse.path.evidence[k]);
    ++count;
  }
  return sum < speaks * static_cast<double>(count);
}

}  // namespace

double belief(const FrameReading& coarse, const FineReading& fine, std::span<const double> time_s,
              std::size_t frame) {
  const double path = coarse.posterior.near_path[frame];
  if (!fine.frames[frame].given) return path;
  if (path >= vouched_for)
    return is_silent(coarse, time_s, frame) ? std::min(path, vouched_for) : path;
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
