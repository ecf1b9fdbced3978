#include "analyze/find_again.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

#include "analyze/parallel.h"
#include "angle/angle.h"
#include "eye/median.h"

namespace rhumb::analyze {
namespace {

constexpr double picture_s = 0.2;         // averaged: long against noise, short against turning
constexpr std::size_t most_averaged = 7;  // frames of it
constexpr std::size_t least_averaged = 3;
constexpr std::size_t pictures_at_once = 3;  // looked through; none of them shows it: given up
constexpr std::size_t most_at_rest = 8;      // pictures of the resting lens to compare with
constexpr double agree_rad = 0.175;          // 10 degrees from picture to picture
constexpr double elsewhere_rad = 0.21;  // 12 degrees: a lens that rests so far away is another mark
constexpr double standing_share = 0.5;  // of a match: what stands there without the lens
constexpr double still_rad = 0.035;     // 2 degrees: by more and an average shows no one axis
constexpr std::size_t least_alike = 2;  // pictures that must agree
// No lens is turned faster in a bag than a hook jerks it on: the Markov model's standard deviation.
constexpr double fastest_rad_s = 3.5;  // 200 degrees a second

struct Picture {
  std::size_t first = 0;
  std::size_t last = 0;  // inclusive
  lens::ContrastMap map;
  std::size_t middle() const { return (first + last) / 2; }
  bool empty() const { return map.usable.empty(); }
};

// What a picture shows, or the path at the edge of a stretch that it has.
struct Seen {
  std::size_t first = 0;
  std::size_t last = 0;
  Place place;
  std::optional<EndPair> ends;
  double middle() const { return 0.5 * static_cast<double>(first + last); }
};

double apart(double a_rad, double b_rad) { return std::abs(angle::wrap_deviation(a_rad - b_rad)); }

class Again {
 public:
  Again(const LensFinder& finder, const Source& source, std::span<const double> time_s,
        std::span<const char> is_free, const Track& track, int threads)
      : finder_(finder),
        source_(source),
        time_s_(time_s),
        is_free_(is_free.begin(), is_free.end()),
        track_(track),
        threads_(threads) {
    look_at_rest();
  }

  bool can_tell() const { return !at_rest_.empty(); }

  // The pictures from a frame on (way 1) or back (-1), up to where nothing is seen any more, or to
  // what was looked through before.
  std::vector<Seen> seen_from(std::size_t frame, int way) {
    std::vector<Seen> out;
    while (true) {
      std::vector<Picture> pictures;
      while (pictures.size() < pictures_at_once && free(frame)) {
        Picture picture = cut(frame, way);
        std::fill(is_free_.begin() + static_cast<std::ptrdiff_t>(picture.first),
                  is_free_.begin() + static_cast<std::ptrdiff_t>(picture.last) + 1, 0);
        frame = way > 0 ? picture.last + 1 : picture.first - 1;  // beyond 0: never free
        pictures.push_back(std::move(picture));
      }
      std::vector<Place> places(pictures.size());
      for_each_index(pictures.size(), threads_, [&](std::size_t k) {
        pictures[k].map = average(pictures[k].first, pictures[k].last);
        if (!pictures[k].empty())
          places[k] = finder_.anywhere(pictures[k].middle(), pictures[k].map, centre_);
      });
      const std::size_t before = out.size();
      for (std::size_t k = 0; k < pictures.size(); ++k) {
        if (places[k].match >= least_) out.push_back(seen_in(pictures[k], places[k]));
      }
      if (out.size() == before) return out;
    }
  }

  // Whether something shows at an axis while the lens rests elsewhere.
  bool stands(const Place& place) const {
    std::vector<double> matches;
    for (std::size_t k = 0; k < at_rest_.size(); ++k) {
      if (apart(axis_at_rest_[k], place.axis_rad) < elsewhere_rad) continue;
      matches.push_back(
          finder_.about(at_rest_[k].middle(), at_rest_[k].map, place.axis_rad, centre_).match);
    }
    return !matches.empty() && eye::median_of(std::move(matches)) > standing_share * place.match;
  }

 private:
  bool free(std::size_t frame) const { return frame < is_free_.size() && is_free_[frame] != 0; }

  Seen seen_in(const Picture& picture, const Place& place) const {
    EndPair ends = finder_.ends_at(picture.middle(), picture.map, place);
    const double share = std::sqrt(static_cast<double>(picture.last - picture.first + 1));
    for (lens::TurnEstimate* end : {&ends.a, &ends.b}) end->se_rad *= share;
    return {picture.first, picture.last, place, ends};
  }

  Picture cut(std::size_t frame, int way) const {
    Picture out{frame, frame, {}};
    const auto goes_on = [&](std::size_t next) {
      return free(next) && std::abs(time_s_[next] - time_s_[frame]) < picture_s;
    };
    while (way > 0 && goes_on(out.last + 1)) ++out.last;
    while (way < 0 && goes_on(out.first - 1)) --out.first;
    return out;
  }

  lens::ContrastMap average(std::size_t first, std::size_t last) const {
    std::vector<std::size_t> frames;
    for (std::size_t k = first; k <= last; ++k)
      if (source_.patches.has(k)) frames.push_back(k);
    if (frames.size() < least_averaged) return {};
    std::vector<lens::ContrastMap> maps;
    const std::size_t count = std::min(most_averaged, frames.size());
    for (std::size_t k = 0; k < count; ++k)
      maps.push_back(contrast_of(source_, source_.patches.at(frames[k * frames.size() / count])));
    return lens::median_of(maps);
  }

  // Pictures of the lens at rest, spread over the recording: where it lies and how clear it is.
  void look_at_rest() {
    std::vector<std::size_t> sure;
    for (std::size_t k = 0; k < track_.frame.size(); ++k)
      if (track_.resting[k] && track_.trust[k] >= sure_trust) sure.push_back(k);
    if (sure.empty()) return;
    for (const std::size_t k : sure) centre_ += track_.centre[k] / static_cast<double>(sure.size());
    const std::size_t count = std::min(most_at_rest, sure.size());
    std::vector<double> matches;
    for (std::size_t part = 0; part < count; ++part) {
      const std::size_t k = sure[part * sure.size() / count];
      const std::size_t from = track_.frame[k];
      std::size_t to = from;
      while (to + 1 < time_s_.size() && time_s_[to + 1] < time_s_[from] + picture_s) ++to;
      Picture picture{from, to, average(from, to)};
      if (picture.empty()) continue;
      matches.push_back(
          finder_.about(picture.middle(), picture.map, track_.axis_rad[k], centre_).match);
      at_rest_.push_back(std::move(picture));
      axis_at_rest_.push_back(track_.axis_rad[k]);
    }
    if (!matches.empty())
      least_ = std::max(least_match, least_share_of_rest * eye::median_of(std::move(matches)));
  }

  const LensFinder& finder_;
  const Source& source_;
  std::span<const double> time_s_;
  std::vector<char> is_free_;  // and not looked through yet
  const Track& track_;
  int threads_ = 1;
  Eigen::Vector2d centre_ = Eigen::Vector2d::Zero();
  std::vector<Picture> at_rest_;
  std::vector<double> axis_at_rest_;
  double least_ = least_match;
};

// Of pictures in a row those that agree with a neighbour; a picture between that shows nothing is
// passed over.
std::vector<std::vector<Seen>> groups_of(const std::vector<Seen>& seen,
                                         std::span<const double> time_s) {
  std::vector<std::vector<Seen>> groups;
  for (const Seen& one : seen) {
    const bool goes_on = !groups.empty() &&
                         time_s[one.first] - time_s[groups.back().back().last] < 1.5 * picture_s &&
                         apart(one.place.axis_rad, groups.back().back().place.axis_rad) < agree_rad;
    if (!goes_on) groups.emplace_back();
    groups.back().push_back(one);
  }
  std::erase_if(groups, [](const auto& group) { return group.size() < least_alike; });
  return groups;
}

// Every frame from a group's first picture to its last, between the pictures' middles.
void append_frames(const std::vector<Seen>& group, std::vector<FoundAgain>& out) {
  std::size_t next = 0;
  for (std::size_t frame = group.front().first; frame <= group.back().last; ++frame) {
    while (next + 2 < group.size() && static_cast<double>(frame) > group[next + 1].middle()) ++next;
    const Seen& a = group[next];
    const Seen& b = group[next + 1];
    const double share =
        std::clamp((static_cast<double>(frame) - a.middle()) / (b.middle() - a.middle()), 0.0, 1.0);
    const double turn = angle::wrap_deviation(b.place.axis_rad - a.place.axis_rad);
    const Seen& own = frame <= a.last ? a : b;
    const bool shows_one = frame >= own.first && std::abs(turn) < still_rad;
    out.push_back({frame,
                   {a.place.axis_rad + share * turn,
                    a.place.centre + share * (b.place.centre - a.place.centre),
                    std::min(a.place.match, b.place.match), true},
                   shows_one ? own.ends : std::nullopt});
  }
}

// Whether a lens can have been turned to a group from the path's last axis before it, and on to the
// next after it, in the time between.
bool can_be_turned(const std::vector<Seen>& group, std::span<const double> time_s,
                   const Track& track) {
  const auto reached = [&](const Seen& seen, std::size_t frame, std::ptrdiff_t entry) {
    const auto k = static_cast<std::size_t>(entry);
    const bool of_path = !seen.ends;  // an edge itself
    if (of_path || entry < 0 || k >= track.frame.size() || track.trust[k] <= least_probability)
      return true;
    const double gap_s = std::abs(time_s[track.frame[k]] - time_s[frame]);
    return apart(track.axis_rad[k], seen.place.axis_rad) < agree_rad + fastest_rad_s * gap_s;
  };
  const auto first_from = [&](std::size_t frame) {
    return std::lower_bound(track.frame.begin(), track.frame.end(), frame) - track.frame.begin();
  };
  const Seen& first = group.front();
  const Seen& last = group.back();
  return reached(first, first.first, first_from(first.first) - 1) &&
         reached(last, last.last, first_from(last.last + 1));
}

// The track's entries at the edges of its stretches beside which this lens may be.
std::vector<std::pair<std::size_t, int>> edges_of(const Track& track,
                                                  std::span<const char> is_free) {
  std::vector<std::pair<std::size_t, int>> out;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    const std::size_t frame = track.frame[k];
    if (frame > 0 && is_free[frame - 1] != 0) out.emplace_back(k, -1);
    if (frame + 1 < is_free.size() && is_free[frame + 1] != 0) out.emplace_back(k, 1);
  }
  return out;
}

}  // namespace

std::vector<FoundAgain> find_again(const LensFinder& finder, const Source& source,
                                   std::span<const double> time_s, std::span<const char> is_free,
                                   const Track& track, int threads) {
  const auto edges = edges_of(track, is_free);
  if (edges.empty()) return {};
  Again again(finder, source, time_s, is_free, track, threads);
  if (!again.can_tell()) return {};
  std::map<std::size_t, Seen> seen;  // by first frame
  for (const auto& [k, way] : edges) {
    const std::size_t frame = track.frame[k];
    std::vector<Seen> found = again.seen_from(way > 0 ? frame + 1 : frame - 1, way);
    if (found.empty()) continue;
    if (track.trust[k] > least_probability)
      seen.emplace(frame, Seen{frame, frame, {track.axis_rad[k], track.centre[k], 0.0, true}, {}});
    for (Seen& one : found) seen.emplace(one.first, std::move(one));
  }
  std::vector<Seen> all;
  all.reserve(seen.size());
  for (auto& [first, one] : seen) all.push_back(std::move(one));
  std::vector<FoundAgain> out;
  for (const std::vector<Seen>& group : groups_of(all, time_s)) {
    const auto clearest = std::max_element(
        group.begin(), group.end(),
        [](const Seen& a, const Seen& b) { return a.place.match < b.place.match; });
    if (can_be_turned(group, time_s, track) && !again.stands(clearest->place))
      append_frames(group, out);
  }
  std::erase_if(out, [&](const FoundAgain& one) { return is_free[one.frame] == 0; });
  return out;
}

}  // namespace rhumb::analyze
