#include "analyze/rival_ends.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <vector>

#include "analyze/lead.h"

namespace rhumb::analyze {
namespace {

constexpr int meridians = 2 * lens::axis_count;
// Of one spot, seen from centres that are free by 0.1 limbal radii at a distance of 0.48.
constexpr int same_spot_deg = 14;
constexpr float nearly = 0.6F;
constexpr float faint = 4.0F;  // an end's score is about normal, of unit variance, by chance

using Ends = std::array<float, meridians>;

float& at(Ends& ends, int meridian) {
  return ends[static_cast<std::size_t>((meridian + meridians) % meridians)];
}

Ends ends_of(const lens::AxisScores& scores) {
  Ends ends;
  for (std::size_t axis = 0; axis < lens::axis_count; ++axis) {
    ends[axis] = scores.end_a[axis];
    ends[axis + lens::axis_count] = scores.end_b[axis];
  }
  return ends;
}

void take_out(Ends& ends, int meridian) {
  for (int beside = -same_spot_deg; beside <= same_spot_deg; ++beside)
    at(ends, meridian + beside) = 0.0F;
}

int rivals_of(Ends ends, int axis_deg, float weaker) {
  const float least = std::max(faint, nearly * weaker);
  take_out(ends, axis_deg);
  take_out(ends, axis_deg + lens::axis_count);
  int rivals = 0;
  for (auto best = std::max_element(ends.begin(), ends.end()); *best >= least;
       best = std::max_element(ends.begin(), ends.end())) {
    take_out(ends, static_cast<int>(best - ends.begin()));
    ++rivals;
  }
  return rivals;
}

}  // namespace

double rival_ends(const timeline::AxisPath& path, timeline::Phase phase,
                  std::span<const lens::AxisScores* const> scores) {
  struct Seen {
    float weaker;
    int rivals;
  };
  std::vector<Seen> seen;
  for (std::size_t k = 0; k < path.phase.size(); ++k) {
    if (path.phase[k] != phase || path.axis_deg[k] < 0 || scores[k] == nullptr) continue;
    const auto own = ends_near(*scores[k], path.axis_deg[k]);
    const float weaker = std::max(0.0F, std::min(own[0], own[1]));
    seen.push_back({weaker, rivals_of(ends_of(*scores[k]), path.axis_deg[k], weaker)});
  }
  if (seen.empty()) return 0.0;
  // Where one end is hidden the other meridians say nothing of it.
  std::stable_sort(seen.begin(), seen.end(),
                   [](const Seen& a, const Seen& b) { return a.weaker > b.weaker; });
  seen.resize((seen.size() + 1) / 2);
  double sum = 0.0;
  for (const Seen& one : seen) sum += one.rivals;
  return sum / static_cast<double>(seen.size());
}

}  // namespace rhumb::analyze
