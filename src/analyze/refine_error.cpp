#include "analyze/refine_error.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "eye/median.h"

namespace rhumb::analyze {

bool shows(const lens::TurnEstimate& end) {
  return end.gain > 3.0 * end.gain_se && end.gain > 0.25 && end.gain < 3.0 && end.se_rad < 0.05;
}

double honest_se(const lens::TurnEstimate& end) {
  const double excess = std::max(1.0, end.misfit);
  const double strange_gain = std::max(0.0, std::abs(std::log(std::max(0.1, end.gain))) - 0.25);
  return end.se_rad * excess * excess * (1.0 + 4.0 * strange_gain);
}

namespace {

// `change(k)` of each pair of neighbouring frames, k and the one before it, in which the lens
// rests.
template <typename Change>
std::vector<double> changes_at_rest(const Track& track, const Change& change) {
  std::vector<double> out;
  for (std::size_t k = 1; k < track.frame.size(); ++k) {
    if (!track.resting[k] || !track.resting[k - 1] || track.frame[k] != track.frame[k - 1] + 1)
      continue;
    if (const std::optional<double> one = change(k)) out.push_back(std::abs(*one));
  }
  return out;
}

constexpr std::size_t fewest_changes = 8;  // that tell a scatter

}  // namespace

double robust_scatter(const Track& track, const std::vector<Solved>& solved) {
  auto ratios = changes_at_rest(track, [&](std::size_t k) -> std::optional<double> {
    if (!solved[k].given || !solved[k - 1].given) return std::nullopt;
    const double difference =
        track.axis_rad[k] + solved[k].turn_rad - track.axis_rad[k - 1] - solved[k - 1].turn_rad;
    return difference / std::hypot(solved[k].se_rad, solved[k - 1].se_rad);
  });
  if (ratios.size() < fewest_changes) return 1.5;
  return std::clamp(eye::mad_to_sd * eye::median_of(std::move(ratios)), 0.5, 5.0);
}

std::optional<int> steadier_end(const Track& track, const std::vector<EndPair>& ends) {
  constexpr double much_more = 1.5;
  const auto scatter = [&](lens::TurnEstimate EndPair::*end) -> std::optional<double> {
    auto changes = changes_at_rest(track, [&](std::size_t k) -> std::optional<double> {
      if (!shows(ends[k].*end) || !shows(ends[k - 1].*end)) return std::nullopt;
      return track.axis_rad[k] + (ends[k].*end).turn_rad - track.axis_rad[k - 1] -
             (ends[k - 1].*end).turn_rad;
    });
    if (changes.size() < fewest_changes) return std::nullopt;
    return eye::median_of(std::move(changes));
  };
  const auto a = scatter(&EndPair::a);
  const auto b = scatter(&EndPair::b);
  if (!a || !b) return std::nullopt;
  if (*b > much_more * *a) return 0;
  if (*a > much_more * *b) return 1;
  return std::nullopt;
}

namespace {

struct Block {
  double middle_s = 0.0;
  double mean = 0.0;
  double variance = 0.0;
};

// Means over consecutive stretches in which the lens rests and most frames are read.
std::vector<Block> resting_blocks(const Track& track, std::span<const timeline::Reading> readings,
                                  std::span<const double> time_s) {
  constexpr double block_s = 0.4;
  constexpr std::size_t least = 4;
  std::vector<Block> blocks;
  std::size_t from = 0;
  while (from < readings.size()) {
    double weights = 0.0;
    double sum = 0.0;
    std::size_t count = 0;
    bool rests = true;
    std::size_t to = from;
    const double start_s = time_s[track.frame[from]];
    while (to < readings.size() && time_s[track.frame[to]] < start_s + block_s) {
      rests = rests && track.resting[to];
      if (readings[to].given) {
        const double weight = 1.0 / (readings[to].se_rad * readings[to].se_rad);
        weights += weight;
        sum += weight * readings[to].value_rad;
        ++count;
      }
      ++to;
    }
    if (rests && count >= least && 2 * count >= to - from) {
      blocks.push_back({start_s + 0.5 * block_s, sum / weights, 1.0 / weights});
    }
    from = to;
  }
  return blocks;
}

}  // namespace

double slow_excess(const Track& track, std::span<const timeline::Reading> readings,
                   std::span<const double> time_s) {
  constexpr double creep_rad = 0.004;  // in a second, as the smoother lets a resting lens creep
  constexpr double moved_rad = 0.02;   // more than this is a move that the path missed
  constexpr double half_of_chi_square = 0.4549;  // median of chi square with one degree of freedom
  const auto blocks = resting_blocks(track, readings, time_s);
  std::vector<double> ratios;
  for (std::size_t k = 1; k < blocks.size(); ++k) {
    const double apart_s = blocks[k].middle_s - blocks[k - 1].middle_s;
    const double turn = blocks[k].mean - blocks[k - 1].mean;
    if (apart_s > 0.6 || std::abs(turn) > moved_rad) continue;
    const double expected =
        blocks[k].variance + blocks[k - 1].variance + creep_rad * creep_rad * apart_s;
    ratios.push_back(turn * turn / expected);
  }
  if (ratios.size() < 6) return 1.5;
  return std::clamp(std::sqrt(eye::median_of(std::move(ratios)) / half_of_chi_square), 1.0, 5.0);
}

std::vector<double> wander(const Track& track, const AxisHistory& history,
                           std::span<const double> time_s) {
  constexpr double least_s = 1.0;
  const std::size_t n = track.frame.size();
  std::vector<double> out(n, 0.0);
  std::size_t from = 0;
  while (from < n) {
    std::size_t to = from;
    while (to < n && history.resting[to] && track.frame[to] == track.frame[from] + (to - from))
      ++to;
    const auto at = [&](std::size_t k) {
      return time_s[track.frame[k]] - time_s[track.frame[from]];
    };
    if (to > from && at(to - 1) >= least_s) {
      // About a straight line, since a lens may turn slowly.
      double t = 0.0, tt = 0.0, y = 0.0, ty = 0.0, yy = 0.0;
      for (std::size_t k = from; k < to; ++k) {
        const double value = history.smoothed[k].value_rad - history.smoothed[from].value_rad;
        t += at(k);
        tt += at(k) * at(k);
        y += value;
        ty += at(k) * value;
        yy += value * value;
      }
      const auto count = static_cast<double>(to - from);
      const double across = ty - t * y / count;
      const double left = yy - y * y / count - across * across / (tt - t * t / count);
      std::fill(out.begin() + static_cast<std::ptrdiff_t>(from),
                out.begin() + static_cast<std::ptrdiff_t>(to),
                std::sqrt(std::max(0.0, left) / count));
    }
    from = std::max(to, from + 1);
  }
  return out;
}

// Viscoelastic refracts unevenly, and until it has been washed out each mark is seen a little
// beside its place. It comes and goes with instruments, and an instrument in the pupil covers part
// of it.
void find_settled(const Track& track, const FrameReading& coarse, std::span<const double> time_s,
                  FineReport& report) {
  constexpr float instrument_share = 0.022F;  // of the pupil, over what reflexes cover anyway
  constexpr double least_passage_s = 0.2;
  std::vector<float> usual;
  for (const std::size_t frame : track.frame) {
    if (coarse.covered[frame] >= 0.0F) usual.push_back(coarse.covered[frame]);
  }
  if (usual.size() < 8) return;
  const auto quarter = usual.begin() + static_cast<std::ptrdiff_t>(usual.size() / 4);
  std::nth_element(usual.begin(), quarter, usual.end());
  const float limit = *quarter + instrument_share;
  std::optional<std::size_t> first;
  std::size_t last = 0;
  std::size_t k = 0;
  while (k < track.frame.size()) {
    std::size_t end = k;
    while (end < track.frame.size() && coarse.covered[track.frame[end]] > limit) ++end;
    if (end > k && time_s[track.frame[end - 1]] - time_s[track.frame[k]] >= least_passage_s) {
      if (!first) first = track.frame[k];
      last = track.frame[end - 1] + 1;
    }
    k = std::max(end, k + 1);
  }
  if (!first) return;
  report.settled_until = *first;
  report.settled_from = last;
}

}  // namespace rhumb::analyze
