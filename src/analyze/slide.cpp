#include "analyze/slide.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "angle/angle.h"
#include "eye/median.h"
#include "lens/ring_flatten.h"

namespace rhumb::analyze {
namespace {

using timeline::Phase;

// Both ends' gains over their errors, summed. A whole lens that is drawn away keeps a third of what
// it reaches at rest (an instrument holds it by one end); what strong compression leaves of one
// that has gone reached 0.27. Where there is nothing the best of all centres reaches 7.
constexpr double least_share_of_rest = 0.33;
constexpr double least_match = 8.0;
constexpr std::size_t frames_at_rest = 24;  // that tell what is usual
constexpr double trust_of_slide = 0.9;  // too little for an interval narrower than the path's reach
constexpr double longest_unseen_s = 0.12;
constexpr double farthest_turn_rad = 0.06;  // of one end from where it is looked for
constexpr double most_gain = 1.5;           // an instrument is no better mark than the marks
// The search about the expected centre, limbal radii. Across the axis the turns of the ends tell
// what lies between.
constexpr double step_along = 0.015;
constexpr int steps_along = 5;
constexpr double step_across = 0.025;
constexpr int steps_across = 2;

struct Place {
  double axis_rad = 0.0;
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  double match = 0.0;
  bool both_show = false;
};

double match_of(const lens::TurnEstimate& end) {
  if (std::abs(end.turn_rad) > farthest_turn_rad) return 0.0;
  return std::clamp(end.gain, 0.0, most_gain) / (end.gain_se * std::max(1.0, end.misfit));
}

class Follower {
 public:
  Follower(const Source& source, const LearnedEnds& ends) : source_(source), ends_(ends) {}

  // What both ends show of a frame about a centre, and how well they match.
  double match_at(std::size_t frame, double axis_rad, const Eigen::Vector2d& centre) const {
    const EndPair pair = measure(contrast_of(frame), frame, axis_rad, centre);
    return match_of(pair.a) + match_of(pair.b);
  }

  // The best place near the expected one.
  Place find(std::size_t frame, double axis_rad, const Eigen::Vector2d& expected) const {
    const lens::ContrastMap map = contrast_of(frame);
    Place best{axis_rad, expected, 0.0, false};
    look_about(map, frame, best, {step_along, steps_along, step_across, steps_across});
    // Then between the steps, from where the ends' turns say that the axis and the centre are.
    if (best.match > 0.0) look_about(map, frame, best, {step_along / 3.0, 1, 0.0, 0});
    return best;
  }

 private:
  struct Grid {
    double along = 0.0;
    int steps_along = 0;
    double across = 0.0;
    int steps_across = 0;
  };

  // Puts the best match of a grid about `best` in its place, where there is a better one.
  void look_about(const lens::ContrastMap& map, std::size_t frame, Place& best,
                  const Grid& grid) const {
    const Place from = best;
    const Eigen::Vector2d along(std::cos(from.axis_rad), std::sin(from.axis_rad));
    const Eigen::Vector2d across(-along.y(), along.x());
    for (int far = -grid.steps_along; far <= grid.steps_along; ++far) {
      for (int aside = -grid.steps_across; aside <= grid.steps_across; ++aside) {
        const Eigen::Vector2d centre =
            from.centre + grid.along * far * along + grid.across * aside * across;
        const EndPair pair = measure(map, frame, from.axis_rad, centre);
        const double match = match_of(pair.a) + match_of(pair.b);
        if (match > best.match) best = solved(pair, from.axis_rad, centre, across, match);
      }
    }
  }

  lens::ContrastMap contrast_of(std::size_t frame) const {
    const lens::PatchGeometry& geometry = source_.patches.geometry();
    auto map = lens::contrast_map(source_.patches.at(frame), geometry, {});
    if (source_.through_rings) lens::flatten_rings(map, geometry);
    return source_.light ? map.for_light_marks() : map;
  }

  EndPair measure(const lens::ContrastMap& map, std::size_t frame, double axis_rad,
                  const Eigen::Vector2d& centre) const {
    const auto turn = [&](double meridian_rad, const lens::MarkTemplate& mark) {
      return lens::turn_of(
          lens::mark_strip(map, mask_of(source_.windows, frame), source_.patches.geometry(), centre,
                           meridian_rad, radial_grid, strip_geometry),
          mark, strip_geometry);
    };
    return {turn(axis_rad, ends_.form.a), turn(axis_rad + angle::pi, ends_.form.b)};
  }

  Place solved(const EndPair& pair, double axis_rad, const Eigen::Vector2d& centre,
               const Eigen::Vector2d& across, double match) const {
    const double a = pair.a.turn_rad + ends_.offset_a_rad;
    const double b = pair.b.turn_rad + ends_.offset_b_rad;
    const double lever_a = ends_.form.a.mean_distance;
    const double lever_b = ends_.form.b.mean_distance;
    const double offset = (a - b) / (1.0 / lever_a + 1.0 / lever_b);
    return {axis_rad + (lever_a * a + lever_b * b) / (lever_a + lever_b), centre + offset * across,
            match, shows(pair.a) && shows(pair.b)};
  }

  const Source& source_;
  const LearnedEnds& ends_;
};

void append(Track& track, std::size_t frame, double axis_rad, const Eigen::Vector2d& centre,
            bool resting, double trust, bool sliding) {
  track.frame.push_back(frame);
  track.axis_rad.push_back(axis_rad);
  track.centre.push_back(centre);
  track.resting.push_back(resting);
  track.trust.push_back(trust);
  track.sliding.push_back(sliding);
}

// What counts as the lens: from what it reaches where it rests.
double least_match_of(const Follower& follower, const Source& source, const Track& track) {
  std::vector<double> matches;
  for (const std::size_t k : teaching_frames(track, frames_at_rest)) {
    if (source.patches.has(track.frame[k]))
      matches.push_back(follower.match_at(track.frame[k], track.axis_rad[k], track.centre[k]));
  }
  if (matches.empty()) return least_match;
  return std::max(least_match, least_share_of_rest * eye::median_of(std::move(matches)));
}

// Follows on from the track's last entry.
void follow(const Follower& follower, const Source& source, std::span<const double> time_s,
            const FrameReading& coarse, double least, Track& track) {
  std::size_t last_seen = track.frame.back();
  double axis = track.axis_rad.back();
  Eigen::Vector2d centre = track.centre.back();
  Eigen::Vector2d step = Eigen::Vector2d::Zero();
  Track waiting;  // not seen, to be kept if the lens is seen again
  for (std::size_t frame = last_seen + 1; frame < time_s.size(); ++frame) {
    if (coarse.path.phase[frame] != Phase::None) break;
    if (time_s[frame] > time_s[last_seen] + longest_unseen_s) break;
    if (!source.patches.has(frame)) continue;
    const Place place = follower.find(frame, axis, centre + step);
    append(waiting, frame, place.axis_rad, place.centre, false, trust_of_slide, true);
    if (!place.both_show || place.match < least) continue;
    // Half of what is left of a step is noise.
    step = 0.7 * (place.centre - centre) / static_cast<double>(frame - last_seen);
    axis = place.axis_rad;
    centre = place.centre;
    last_seen = frame;
    for (std::size_t k = 0; k < waiting.frame.size(); ++k)
      append(track, waiting.frame[k], waiting.axis_rad[k], waiting.centre[k], false,
             waiting.trust[k], true);
    waiting = {};
  }
}

}  // namespace

Track with_slides(const Track& track, const Source& source, std::span<const double> time_s,
                  const FrameReading& coarse, const LearnedEnds& ends) {
  const Follower follower(source, ends);
  std::optional<double> least;
  Track out;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    append(out, track.frame[k], track.axis_rad[k], track.centre[k], track.resting[k],
           track.trust[k], false);
    const std::size_t next = track.frame[k] + 1;
    if (next >= time_s.size() || coarse.path.phase[next] != Phase::None) continue;
    if (!least) least = least_match_of(follower, source, track);
    follow(follower, source, time_s, coarse, *least, out);
  }
  return out;
}

void adopt_slides(const FineReading& fine, FrameReading& coarse) {
  for (std::size_t frame = 0; frame < fine.frames.size(); ++frame) {
    const FineAxis& slid = fine.frames[frame];
    if (!slid.sliding) continue;
    const auto axis_deg =
        static_cast<int>(std::lround(angle::deg_from_rad(angle::wrap_axis(slid.axis_rad))));
    coarse.path.phase[frame] = slid.phase;
    coarse.path.axis_deg[frame] = axis_deg % lens::axis_count;
    coarse.path.moving[frame] = true;
    coarse.path.evidence[frame] = 0.0F;
    coarse.centre[frame] = slid.centre;
    coarse.posterior.lens[frame] = static_cast<float>(trust_of_slide);
    coarse.posterior.near_path[frame] = static_cast<float>(trust_of_slide);
    coarse.posterior.moving[frame] = 1.0F;
  }
}

}  // namespace rhumb::analyze
