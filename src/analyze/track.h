// One lens's frames while its axis is refined.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>
#include <vector>

#include "analyze/frames.h"
#include "lens/mark_template.h"

namespace rhumb::analyze {

struct EndPair {
  lens::TurnEstimate a;
  lens::TurnEstimate b;
};

// One lens's frames: what is known of each before and after a round.
struct Track {
  std::vector<std::size_t> frame;
  std::vector<double> axis_rad;  // unwrapped
  std::vector<Eigen::Vector2d> centre;
  std::vector<bool> resting;
  std::vector<double> trust;  // probability that the path is right
  // Where this lens was followed by its marks (analyze/follow_lens), not taken from the path; and
  // where it was not followed from frame to frame, but found again in averages (find_again).
  std::vector<bool> followed;
  std::vector<bool> again;
  // Of an average of pictures about a frame, where it was found again in that.
  std::vector<std::optional<EndPair>> averaged;
};

// Whether a frame's end shows its marks.
bool shows(const lens::TurnEstimate& end);

// Distances of the two ends from the supposed lens centre, limbal radii. They differ where the
// centre is off along the axis, and then each end needs its own.
struct Levers {
  double a = 0.45;
  double b = 0.45;
  double mean() const { return 0.5 * (a + b); }
  // What both ends' turns (radians) say: how far the lens is turned, and how far its centre lies
  // across the axis (limbal radii). A centre beside its place turns the ends against each other.
  double turn_of(double end_a_rad, double end_b_rad) const {
    return (a * end_a_rad + b * end_b_rad) / (a + b);
  }
  double offset_of(double end_a_rad, double end_b_rad) const {
    return (end_a_rad - end_b_rad) / (1.0 / a + 1.0 / b);
  }
};

// Trust from which the path is sure: a lens is followed and sought from there.
inline constexpr double sure_trust = 0.95;

struct Solved {
  bool given = false;
  double turn_rad = 0.0;
  double se_rad = 1e3;
  double offset = 0.0;  // of the lens centre across the axis, limbal radii
  double offset_se = 1e3;
};

// The frames in which the path has the lens, at the path's axes and centres.
Track track_of(const FrameReading& coarse, timeline::Phase phase);

// At most `most` frames in which the lens rests and the path is trusted; of all frames when too few
// rest.
std::vector<std::size_t> teaching_frames(const Track& track, std::size_t most);

// Frames at least `step_s` apart, enough for what changes slowly.
std::vector<std::size_t> some_of(const Track& track, std::span<const double> time_s, double step_s);

std::vector<std::size_t> all_of(const Track& track);

}  // namespace rhumb::analyze
