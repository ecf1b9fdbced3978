#include "analyze/track.h"

#include "angle/angle.h"

namespace rhumb::analyze {

Track track_of(const FrameReading& coarse, timeline::Phase phase) {
  Track track;
  double unwrapped = 0.0;
  for (std::size_t frame = 0; frame < coarse.path.phase.size(); ++frame) {
    if (coarse.path.phase[frame] != phase) continue;
    const double axis = angle::rad_from_deg(coarse.path.axis_deg[frame]);
    unwrapped = track.frame.empty() ? axis : unwrapped + angle::wrap_deviation(axis - unwrapped);
    track.frame.push_back(frame);
    track.axis_rad.push_back(unwrapped);
    track.centre.push_back(coarse.centre[frame]);
    track.resting.push_back(!coarse.path.moving[frame]);
    track.trust.push_back(coarse.posterior.near_path[frame]);
    track.followed.push_back(false);
    track.again.push_back(false);
    track.averaged.emplace_back();
  }
  return track;
}

std::vector<std::size_t> teaching_frames(const Track& track, std::size_t most) {
  std::vector<std::size_t> good;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    if (track.resting[k] && track.trust[k] > 0.8) good.push_back(k);
  }
  if (good.size() < 5) {
    good.clear();
    for (std::size_t k = 0; k < track.frame.size(); ++k) good.push_back(k);
  }
  if (good.size() <= most) return good;
  std::vector<std::size_t> spread;
  for (std::size_t k = 0; k < most; ++k) spread.push_back(good[k * good.size() / most]);
  return spread;
}

std::vector<std::size_t> some_of(const Track& track, std::span<const double> time_s,
                                 double step_s) {
  std::vector<std::size_t> some;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    if (some.empty() || time_s[track.frame[k]] >= time_s[track.frame[some.back()]] + step_s)
      some.push_back(k);
  }
  return some;
}

std::vector<std::size_t> all_of(const Track& track) {
  std::vector<std::size_t> all(track.frame.size());
  for (std::size_t k = 0; k < all.size(); ++k) all[k] = k;
  return all;
}

}  // namespace rhumb::analyze
