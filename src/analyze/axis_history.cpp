#include "analyze/axis_history.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "analyze/refine_error.h"

namespace rhumb::analyze {
namespace {

// Whether the path turns by more than its own degree about a frame, whatever state it claims.
bool path_turns(const std::vector<double>& path_axis, std::size_t k) {
  constexpr std::size_t reach = 4;
  const std::size_t from = k > reach ? k - reach : 0;
  const std::size_t to = std::min(path_axis.size() - 1, k + reach);
  const auto [low, high] =
      std::minmax_element(path_axis.begin() + static_cast<std::ptrdiff_t>(from),
                          path_axis.begin() + static_cast<std::ptrdiff_t>(to) + 1);
  return *high - *low > 0.026;  // 1.5 degrees
}

// Which ends show themselves, by frame.
using Shown = std::vector<std::array<bool, 2>>;

// An end that shows by fits and starts while the other one shows steadily lies under an instrument,
// and what is read there is the instrument.
Shown shown_ends(const Track& track, const Measured& measured, std::span<const double> time_s) {
  constexpr double near_s = 0.15;
  constexpr double most_se_rad = 0.02;
  const std::size_t n = track.frame.size();
  Shown all(n);
  Shown clear(n);
  for (std::size_t k = 0; k < n; ++k) {
    const EndPair& pair = measured.ends[k];
    all[k] = {shows(pair.a), shows(pair.b)};
    clear[k] = {all[k][0] && honest_se(pair.a) < most_se_rad,
                all[k][1] && honest_se(pair.b) < most_se_rad};
  }
  Shown out = all;
  std::array<int, 2> count{};
  std::size_t from = 0;
  std::size_t to = 0;
  for (std::size_t k = 0; k < n; ++k) {
    const double now_s = time_s[track.frame[k]];
    for (; to < n && time_s[track.frame[to]] <= now_s + near_s; ++to)
      for (std::size_t end = 0; end < 2; ++end) count[end] += clear[to][end] ? 1 : 0;
    for (; time_s[track.frame[from]] < now_s - near_s; ++from)
      for (std::size_t end = 0; end < 2; ++end) count[end] -= clear[from][end] ? 1 : 0;
    const auto frames = static_cast<int>(to - from);
    for (std::size_t end = 0; end < 2; ++end)
      if (2 * count[end] < frames && 4 * count[1 - end] > 3 * frames) out[k][end] = false;
  }
  return out;
}

// Frames in which an end is hidden while the path turns by no more than a push aside could look
// like, or next to that: an instrument over one end does both, and the path does not tell when.
std::vector<char> turned_unseen(const Shown& shown, const std::vector<double>& path_axis_rad,
                                const std::vector<bool>& resting) {
  constexpr double most_turn_rad = 0.07;
  constexpr std::size_t near = 4;  // frames; so many with both ends end a stretch
  const std::size_t n = resting.size();
  const auto both = [&](std::size_t k) { return shown[k][0] && shown[k][1]; };
  std::vector<char> out(n, 0);
  for (std::size_t from = 0; from < n; ++from) {
    if (both(from)) continue;
    std::size_t to = from;  // the last frame that hides an end
    for (std::size_t k = from; k < n && k <= to + near; ++k)
      if (!both(k)) to = k;
    bool turns = false;
    double low = path_axis_rad[from];
    double high = low;
    // Frame 0 has none before it that it could rest from.
    for (std::size_t k = from > near ? from - near : 1; k < std::min(n, to + near); ++k) {
      turns = turns || !resting[k];
      low = std::min(low, path_axis_rad[k]);
      high = std::max(high, path_axis_rad[k]);
    }
    if (turns && high - low <= most_turn_rad && from > 0 && to + 1 < n)
      std::fill(out.begin() + static_cast<std::ptrdiff_t>(from),
                out.begin() + static_cast<std::ptrdiff_t>(to) + 2, 1);
    from = to;
  }
  return out;
}

timeline::Step step_of(double since_s, bool rests, bool unseen) {
  constexpr double rest_drift = 0.012, turn_drift = 0.02, push_drift = 0.028;
  // A resting lens creeps by some tenths of a degree a second at most.
  constexpr double creep_rad = 0.004;
  // Under a hidden end a push aside is likelier than a turn of as much at the other end.
  constexpr double unseen_rest_rad = 0.025, unseen_turn_rad = 0.06;
  const double root_s = std::sqrt(since_s);
  if (unseen) return {since_s, (rests ? unseen_rest_rad : unseen_turn_rad) * root_s, push_drift};
  if (rests) return {since_s, creep_rad * root_s, rest_drift};
  return {since_s, timeline::free_step_rad(since_s), turn_drift};
}

// The centre is looked for anew in each frame, to a step of the search (0.015 limbal radii).
timeline::Step followed_step(double since_s) {
  constexpr double drift = 0.1;
  return {since_s, timeline::free_step_rad(since_s), drift};
}

timeline::TwoEnds ends_of(const EndPair& pair, const std::array<bool, 2>& shown,
                          const Measured& measured, double axis_rad) {
  const auto one = [&](const lens::TurnEstimate& end, bool given, double per_offset) {
    return timeline::EndReading{given, axis_rad + end.turn_rad,
                                std::hypot(measured.scatter * honest_se(end), 3e-4), per_offset};
  };
  return {one(pair.a, shown[0], 1.0 / measured.levers.a),
          one(pair.b, shown[1], -1.0 / measured.levers.b)};
}

}  // namespace

AxisHistory axis_history(const Track& track, const Measured& measured,
                         const std::vector<double>& path_axis_rad, std::span<const double> time_s,
                         double centre_sd) {
  const std::size_t n = track.frame.size();
  AxisHistory out;
  out.readings.resize(n);
  out.ends.resize(n);
  out.resting.assign(n, false);
  const Shown shown = shown_ends(track, measured, time_s);
  const bool ever_both =
      std::any_of(shown.begin(), shown.end(), [](const auto& one) { return one[0] && one[1]; });
  for (std::size_t k = 0; k < n; ++k) {
    const Solved& solved = measured.solved[k];
    timeline::Reading& reading = out.readings[k];
    reading.value_rad = track.axis_rad[k] + solved.turn_rad;
    reading.se_rad = std::hypot(measured.scatter * solved.se_rad, 2e-4);
    // A reading far from the path that the whole recording supports is clutter.
    reading.given = solved.given && std::abs(reading.value_rad - path_axis_rad[k]) <= 0.07;
    if (reading.given)
      out.ends[k] = ends_of(measured.ends[k], shown[k], measured, track.axis_rad[k]);
    out.resting[k] =
        k > 0 && track.resting[k] && track.resting[k - 1] && !path_turns(path_axis_rad, k);
  }
  const std::vector<char> unseen = turned_unseen(shown, path_axis_rad, out.resting);
  out.steps.resize(n);
  for (std::size_t k = 1; k < n; ++k) {
    const double since_s = std::max(1e-3, time_s[track.frame[k]] - time_s[track.frame[k - 1]]);
    const bool again = track.again[k] && track.again[k - 1];
    const bool rests = again ? !path_turns(path_axis_rad, k) : out.resting[k];
    out.steps[k] = step_of(since_s, rests, unseen[k] != 0 && !again);
    // What no frame shows stays as unknown as it is: it does not average out.
    if (!ever_both) out.steps[k].centre_drift = 0.0;
    if (unseen[k] != 0) out.resting[k] = false;
    if (track.followed[k] && !again) out.steps[k] = followed_step(since_s);
  }
  out.smoothed = timeline::smooth_ends(out.ends, out.steps, centre_sd);
  return out;
}

}  // namespace rhumb::analyze
