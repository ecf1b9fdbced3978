#include "analyze/lead.h"

#include <algorithm>
#include <array>
#include <limits>

namespace rhumb::analyze {
namespace {

// An axis next to another shares its evidence: a mark spans two to five degrees.
constexpr int same_axis_deg = 2;
constexpr int another_axis_deg = 6;

}  // namespace

std::vector<float> leads(const timeline::AxisPath& path,
                         std::span<const timeline::AxisEvidence> previous,
                         std::span<const timeline::AxisEvidence> current) {
  const std::size_t n = path.phase.size();
  std::vector<float> out(n, 0.0F);
  for (std::size_t from = 0; from < n;) {
    std::size_t to = from + 1;
    if (path.axis_deg[from] < 0) {
      from = to;
      continue;
    }
    while (to < n && path.phase[to] == path.phase[from] && path.axis_deg[to] >= 0 &&
           timeline::degrees_apart(path.axis_deg[to], path.axis_deg[from]) <= same_axis_deg)
      ++to;
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
      if (apart <= same_axis_deg || apart >= another_axis_deg)
        best = std::max(best, mean[static_cast<std::size_t>(axis)]);
    }
    std::fill(out.begin() + static_cast<std::ptrdiff_t>(from),
              out.begin() + static_cast<std::ptrdiff_t>(to), own - rival);
    from = to;
  }
  return out;
}

}  // namespace rhumb::analyze
