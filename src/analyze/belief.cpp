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

bool agrees(const FineAxis& with, const FineAxis& one) {
  return one.phase == with.phase && one.own.given &&
         std::abs(one.own.value_rad - one.seen_rad) < agrees_rad &&
         std::abs(one.seen_rad - with.seen_rad) < stays_rad;
}

}  // namespace

double belief(const FrameReading& coarse, const FineReading& fine, std::span<const double> time_s,
              std::size_t frame) {
  const double path = coarse.posterior.near_path[frame];
  if (path >= vouched_for || !fine.frames[frame].given) return path;
  std::size_t first = frame;
  while (first > 0 && time_s[first - 1] >= time_s[frame] - about_s) --first;
  std::size_t count = 0;
  std::size_t agreeing = 0;
  for (std::size_t k = first; k < time_s.size() && time_s[k] <= time_s[frame] + about_s; ++k) {
    ++count;
    agreeing += agrees(fine.frames[frame], fine.frames[k]) ? 1 : 0;
  }
  const bool vouches = count >= least_frames &&
                       static_cast<double>(agreeing) >= vouching_share * static_cast<double>(count);
  return vouches ? vouched_for : path;
}

}  // namespace rhumb::analyze
