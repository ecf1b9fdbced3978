#include "analyze/lead.h"

#include <algorithm>
#include <array>
#include <limits>

namespace rhumb::analyze {
namespace {

// An axis next to another shares its evidence: a mark spans two to five degrees.
constexpr int same_axis_deg = 2;

// The end of the stretch from `from` on in which the path keeps its lens and its axis.
std::size_t end_of_stretch(const timeline::AxisPath& path, std::size_t from) {
  std::size_t to = from + 1;
  while (to < path.phase.size() && path.phase[to] == path.phase[from] && path.axis_deg[to] >= 0 &&
         timeline::degrees_apart(path.axis_deg[to], path.axis_deg[from]) <= same_axis_deg)
    ++to;
  return to;
}

float best_near(const timeline::AxisEvidence& evidence, int axis_deg) {
  float best = std::numeric_limits<float>::lowest();
  for (int axis = 0; axis < timeline::axis_count; ++axis)
    if (timeline::degrees_apart(axis, axis_deg) <= same_axis_deg)
      best = std::max(best, evidence.log_ratio[static_cast<std::size_t>(axis)]);
  return best;
}

struct Stretch {
  std::size_t from = 0;
  std::size_t to = 0;
  int axis_deg = 0;
  float evidence = 0.0F;  // sum
};

struct MeanEnds {
  std::array<float, 2> sum{};
  int count = 0;

  void add(const lens::AxisScores& scores, int axis_deg) {
    const auto ends = ends_near(scores, axis_deg);
    for (std::size_t end = 0; end < ends.size(); ++end) sum[end] += ends[end];
    ++count;
  }
  float of(std::size_t end) const { return sum[end] / static_cast<float>(std::max(1, count)); }
};

// Whether, in the steps given, much less speaks for the stretch's axis than in the stretch, and
// for either end of it: a bubble that lay there all the time makes a lens with any other that
// comes.
bool absent(const Stretch& stretch, std::size_t from, std::size_t to,
            const timeline::AxisPath& path, std::span<const timeline::AxisEvidence> evidence,
            std::span<const lens::AxisScores* const> scores, bool faint_ends_count) {
  constexpr float faint = 4.0F;  // scores of an end are about normal, of unit variance, by chance
  constexpr int fewest = 2;
  constexpr float most_left = 0.3F;
  constexpr float most_of_end_left = 0.6F;
  float sum = 0.0F;
  int count = 0;
  MeanEnds without;
  for (std::size_t k = from; k < to; ++k) {
    if (scores[k] == nullptr) continue;
    sum += best_near(evidence[k], stretch.axis_deg);
    ++count;
    // Where another lens lies there, its marks show.
    if (path.axis_deg[k] >= 0 &&
        timeline::degrees_apart(path.axis_deg[k], stretch.axis_deg) < another_axis_deg)
      continue;
    without.add(*scores[k], stretch.axis_deg);
  }
  const float usual = stretch.evidence / static_cast<float>(stretch.to - stretch.from);
  if (count < fewest || sum > most_left * usual * static_cast<float>(count)) return false;
  if (without.count < fewest) return true;
  MeanEnds with;
  for (std::size_t k = stretch.from; k < stretch.to; ++k)
    if (scores[k] != nullptr) with.add(*scores[k], stretch.axis_deg);
  for (std::size_t end = 0; end < 2; ++end) {
    if (!faint_ends_count && with.of(end) < faint) continue;
    if (without.of(end) > most_of_end_left * with.of(end)) return false;
  }
  return true;
}

}  // namespace

std::array<float, 2> ends_near(const lens::AxisScores& scores, int axis_deg) {
  constexpr int n = lens::axis_count;
  std::array<float, 2> best{std::numeric_limits<float>::lowest(),
                            std::numeric_limits<float>::lowest()};
  for (int beside = -same_axis_deg; beside <= same_axis_deg; ++beside) {
    const bool swapped = axis_deg + beside < 0 || axis_deg + beside >= n;
    const auto axis = static_cast<std::size_t>((axis_deg + beside + n) % n);
    best[swapped ? 1 : 0] = std::max(best[swapped ? 1 : 0], scores.end_a[axis]);
    best[swapped ? 0 : 1] = std::max(best[swapped ? 0 : 1], scores.end_b[axis]);
  }
  return best;
}

bool is_seen_to_change(const timeline::AxisPath& path, timeline::Phase phase,
                       std::span<const float> lead,
                       std::span<const timeline::AxisEvidence> evidence,
                       std::span<const lens::AxisScores* const> scores, const ChangeRule& rule) {
  constexpr float least_evidence = 8.0F;  // as of one window with both ends clear
  constexpr float least_lead = 2.0F;
  std::vector<Stretch> supported;
  for (std::size_t from = 0; from < path.phase.size();) {
    const std::size_t to = end_of_stretch(path, from);
    if (path.phase[from] == phase && path.axis_deg[from] >= 0) {
      Stretch one{from, to, path.axis_deg[from], 0.0F};
      for (std::size_t k = from; k < to; ++k) one.evidence += path.evidence[k];
      if (one.evidence >= least_evidence && lead[from] >= least_lead) supported.push_back(one);
    }
    from = to;
  }
  if (supported.empty()) return false;
  for (const Stretch& one : supported)
    for (const Stretch& other : supported)
      if (timeline::degrees_apart(one.axis_deg, other.axis_deg) >= rule.least_turn_deg) return true;
  const auto is_this = [&](timeline::Phase other) { return other == phase; };
  const auto first = std::find_if(path.phase.begin(), path.phase.end(), is_this);
  const auto last = std::find_if(path.phase.rbegin(), path.phase.rend(), is_this);
  const auto before = static_cast<std::size_t>(first - path.phase.begin());
  const auto after = path.phase.size() - static_cast<std::size_t>(last - path.phase.rbegin());
  return absent(supported.front(), 0, before, path, evidence, scores, rule.faint_ends_count) ||
         absent(supported.back(), after, path.phase.size(), path, evidence, scores,
                rule.faint_ends_count);
}

std::vector<float> leads(const timeline::AxisPath& path,
                         std::span<const timeline::AxisEvidence> previous,
                         std::span<const timeline::AxisEvidence> current, int rivals_from_deg) {
  const std::size_t n = path.phase.size();
  std::vector<float> out(n, 0.0F);
  for (std::size_t from = 0; from < n;) {
    const std::size_t to = end_of_stretch(path, from);
    if (path.axis_deg[from] < 0) {
      from = to;
      continue;
    }
    std::array<float, timeline::axis_count> mean{};
    for (std::size_t k = from; k < to; ++k) {
      const auto& one = (path.phase[k] == timeline::Phase::New ? current : previous)[k].log_ratio;
      for (std::size_t axis = 0; axis < mean.size(); ++axis)
        mean[axis] += one[axis] / static_cast<float>(to - from);
    }
    float own = std::numeric_limits<float>::lowest();
    float rival = own;
    for (int axis = 0; axis < timeline::axis_count; ++axis) {
      const int apart = timeline::degrees_apart(axis, path.axis_deg[from]);
      float& best = apart <= same_axis_deg ? own : rival;
      if (apart <= same_axis_deg || apart >= rivals_from_deg)
        best = std::max(best, mean[static_cast<std::size_t>(axis)]);
    }
    std::fill(out.begin() + static_cast<std::ptrdiff_t>(from),
              out.begin() + static_cast<std::ptrdiff_t>(to), own - rival);
    from = to;
  }
  return out;
}

}  // namespace rhumb::analyze
