#include "analyze/follow_lens.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <vector>

#include "analyze/find_again.h"
#include "analyze/parallel.h"
#include "angle/angle.h"
#include "eye/median.h"

namespace rhumb::analyze {
namespace {

using timeline::Phase;

constexpr std::size_t frames_at_rest = 24;  // that tell what is usual
constexpr double trust_of_followed =
    0.9;  // too little for an interval narrower than the path's reach
constexpr double longest_unseen_s = 0.12;
constexpr double kept_of_step = 0.7;
constexpr double most_apart_rad = 0.035;  // 2 degrees, onwards and back
constexpr double off_path_rad = 0.026;    // 1.5 degrees: a path that is that far off is corrected

// What counts as the lens: from what it reaches where it rests.
double least_match_of(const LensFinder& finder, const Source& source, const Track& track) {
  std::vector<double> matches;
  for (const std::size_t k : teaching_frames(track, frames_at_rest)) {
    if (source.patches.has(track.frame[k]))
      matches.push_back(finder.match_at(track.frame[k], track.axis_rad[k], track.centre[k]));
  }
  if (matches.empty()) return least_match;
  return std::max(least_match, least_share_of_rest * eye::median_of(std::move(matches)));
}

// What was followed, by frame.
struct Found {
  std::size_t frame = 0;
  Place place;
  bool seen = false;
  bool again = false;
  std::optional<EndPair> averaged;
};

class Run {
 public:
  Run(const Source& source, std::span<const double> time_s, const FrameReading& coarse,
      const Track& track, const LearnedEnds& ends)
      : source_(source), time_s_(time_s), coarse_(coarse), track_(track), finder_(source, ends) {
    for (std::size_t k = 0; k < track.frame.size(); ++k) entry_[track.frame[k]] = k;
    least_ = least_match_of(finder_, source, track);
  }

  // Onwards (way 1) or back (-1) from an entry of the track, up to where the lens is seen last. In
  // between frames that don't show it stay in the list, not seen.
  std::vector<Found> from(std::size_t entry, int way) const {
    std::vector<Found> out;
    std::size_t seen = 0;
    double last_s = time_s_[track_.frame[entry]];
    std::size_t last_frame = track_.frame[entry];
    double axis = track_.axis_rad[entry];
    Eigen::Vector2d centre = track_.centre[entry];
    double turn = 0.0;  // a frame
    Eigen::Vector2d step = Eigen::Vector2d::Zero();
    for (std::size_t frame = last_frame + way; frame < time_s_.size(); frame += way) {
      if (!may_follow(frame, way)) break;
      if (std::abs(time_s_[frame] - last_s) > longest_unseen_s) break;
      if (!source_.patches.has(frame)) continue;
      const auto frames = static_cast<double>(way > 0 ? frame - last_frame : last_frame - frame);
      const Place expected{axis + frames * turn, centre + frames * step, 0.0, false};
      const Place place = finder_.find(frame, expected, least_, bag_at(frame));
      const bool is_seen = place.both_show && place.match >= least_;
      out.push_back({frame, place, is_seen, false, {}});
      if (!is_seen) continue;
      put_between(axis, centre, out);
      // Part of a step is noise.
      turn = kept_of_step * (place.axis_rad - axis) / frames;
      step = kept_of_step * (place.centre - centre) / frames;
      axis = place.axis_rad;
      centre = place.centre;
      last_s = time_s_[frame];
      last_frame = frame;
      seen = out.size();
    }
    out.resize(seen);
    return out;
  }

  // Whether the path is sure of this lens here.
  bool sure(std::size_t frame) const {
    const auto at = entry_.find(frame);
    return at != entry_.end() && track_.trust[at->second] >= sure_trust;
  }

 private:
  // What was passed unseen lies between the last place seen and this one.
  static void put_between(double axis_rad, const Eigen::Vector2d& centre, std::vector<Found>& out) {
    std::size_t first = out.size() - 1;
    while (first > 0 && !out[first - 1].seen) --first;
    const Place& now = out.back().place;
    const auto steps = static_cast<double>(out.size() - first);
    for (std::size_t k = first; k + 1 < out.size(); ++k) {
      const double share = static_cast<double>(k + 1 - first) / steps;
      out[k].place.axis_rad = axis_rad + share * (now.axis_rad - axis_rad);
      out[k].place.centre = centre + share * (now.centre - centre);
    }
  }

  std::optional<Eigen::Vector2d> bag_at(std::size_t frame) const {
    const auto at = entry_.find(frame);
    if (at == entry_.end()) return std::nullopt;
    return track_.centre[at->second];
  }

  // Where the path has this lens, but isn't sure of its axis; or, onwards, where it has none.
  bool may_follow(std::size_t frame, int way) const {
    if (entry_.count(frame) != 0) return !sure(frame);
    return way > 0 && coarse_.path.phase[frame] == Phase::None;
  }

  const Source& source_;
  std::span<const double> time_s_;
  const FrameReading& coarse_;
  const Track& track_;
  LensFinder finder_;
  std::map<std::size_t, std::size_t> entry_;
  double least_ = 0.0;
};

// What was followed from the last (way 1) or first (-1) frame of each sure stretch, in their order.
std::vector<std::vector<Found>> runs_of(const Run& run, const Track& track, int way, int threads) {
  std::vector<std::size_t> starts;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    const std::size_t frame = track.frame[k];
    const bool goes_on = way > 0 ? run.sure(frame + 1) : frame > 0 && run.sure(frame - 1);
    if (run.sure(frame) && !goes_on) starts.push_back(k);
  }
  std::vector<std::vector<Found>> out(starts.size());
  for_each_index(starts.size(), threads,
                 [&](std::size_t index) { out[index] = run.from(starts[index], way); });
  return out;
}

// Every frame that was followed from sure ones, once: onwards where that was seen, else back, and
// not at all where both were seen and disagree.
std::map<std::size_t, Found> follow_all(const Run& run, const Track& track, int threads) {
  std::map<std::size_t, Found> out;
  for (const auto& onwards : runs_of(run, track, 1, threads)) {
    for (const Found& found : onwards) out[found.frame] = found;
  }
  std::vector<std::size_t> disagree;
  auto all_back = runs_of(run, track, -1, threads);
  std::reverse(all_back.begin(), all_back.end());
  for (const auto& back : all_back) {
    for (const Found& found : back) {
      if (!found.seen) continue;
      const auto [at, is_new] = out.try_emplace(found.frame, found);
      if (is_new) continue;
      const double apart = angle::wrap_deviation(at->second.place.axis_rad - found.place.axis_rad);
      if (at->second.seen && std::abs(apart) > most_apart_rad) disagree.push_back(found.frame);
      if (!at->second.seen) at->second = found;
    }
  }
  for (const std::size_t frame : disagree) out.erase(frame);
  return out;
}

void append(Track& track, const Found& found) {
  track.frame.push_back(found.frame);
  track.axis_rad.push_back(found.place.axis_rad);
  track.centre.push_back(found.place.centre);
  track.resting.push_back(false);
  track.trust.push_back(trust_of_followed);
  track.followed.push_back(true);
  track.again.push_back(found.again);
  track.averaged.push_back(found.averaged);
}

}  // namespace

Track followed(const Track& track, const Source& source, std::span<const double> time_s,
               const FrameReading& coarse, std::span<const char> is_free, const LearnedEnds& ends,
               int threads) {
  const Run run(source, time_s, coarse, track, ends);
  auto found = follow_all(run, track, threads);
  for (const FoundAgain& again :
       find_again(LensFinder(source, ends), source, time_s, is_free, track, threads))
    found.try_emplace(again.frame, Found{again.frame, again.place, true, true, again.ends});
  Track out;
  auto next = found.begin();
  const auto append_until = [&](std::size_t frame) {
    for (; next != found.end() && next->first < frame; ++next) append(out, next->second);
  };
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    append_until(track.frame[k]);
    const bool has = next != found.end() && next->first == track.frame[k];
    const Found other = has ? next->second : Found{};
    const double apart = angle::wrap_deviation(other.place.axis_rad - track.axis_rad[k]);
    const bool better =
        other.seen && (track.trust[k] < least_probability || std::abs(apart) > off_path_rad);
    if (has) ++next;
    if (better) {
      append(out, other);
      continue;
    }
    out.frame.push_back(track.frame[k]);
    out.axis_rad.push_back(track.axis_rad[k]);
    out.centre.push_back(track.centre[k]);
    out.resting.push_back(track.resting[k]);
    out.trust.push_back(track.trust[k]);
    out.followed.push_back(false);
    out.again.push_back(false);
    out.averaged.emplace_back();
  }
  append_until(time_s.size());
  // Axes that were followed for a while keep to the turns before them.
  for (std::size_t k = 1; k < out.frame.size(); ++k)
    out.axis_rad[k] =
        out.axis_rad[k - 1] + angle::wrap_deviation(out.axis_rad[k] - out.axis_rad[k - 1]);
  return out;
}

void adopt_followed(const FineReading& fine, FrameReading& coarse) {
  for (std::size_t frame = 0; frame < fine.frames.size(); ++frame) {
    const FineAxis& one = fine.frames[frame];
    if (!one.followed) continue;
    const auto axis_deg =
        static_cast<int>(std::lround(angle::deg_from_rad(angle::wrap_axis(one.axis_rad))));
    coarse.path.axis_deg[frame] = axis_deg % lens::axis_count;
    coarse.posterior.near_path[frame] = static_cast<float>(trust_of_followed);
    coarse.centre[frame] = one.centre;
    if (coarse.path.phase[frame] == one.phase) continue;
    coarse.path.phase[frame] = one.phase;
    coarse.path.moving[frame] = true;
    coarse.path.evidence[frame] = 0.0F;
    coarse.posterior.lens[frame] = static_cast<float>(trust_of_followed);
    coarse.posterior.moving[frame] = 1.0F;
  }
}

}  // namespace rhumb::analyze
