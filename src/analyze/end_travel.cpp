#include "analyze/end_travel.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "eye/median.h"

namespace rhumb::analyze {
namespace {

constexpr double rest_rad = 0.0175;  // that an axis keeps to at rest
constexpr double least_turn_rad = 0.087;
// Limbal radii (0.6 mm), of the end that goes further: a lens as a whole, or its picture where the
// eye is tilted, was displaced by up to 0.02 between two rests.
constexpr double least_travel = 0.1;
constexpr std::size_t least_frames = 8;

// A stay on one axis: where each end lies in each of its frames.
struct Rest {
  double axis_rad = 0.0;  // of its first frame
  std::array<std::vector<double>, 2> x;
  std::array<std::vector<double>, 2> y;

  void add(const FineAxis& frame) {
    for (std::size_t end = 0; end < 2; ++end) {
      const timeline::EndReading& reading = frame.ends[end];
      const double distance = (end == 0 ? 1.0 : -1.0) / std::abs(reading.per_offset);
      x[end].push_back(frame.centre.x() + distance * std::cos(reading.value_rad));
      y[end].push_back(frame.centre.y() + distance * std::sin(reading.value_rad));
    }
  }
  Eigen::Vector2d place(std::size_t end) const {
    return {eye::median_of(x[end]), eye::median_of(y[end])};
  }
};

std::vector<Rest> rests_of(const FineReading& fine, timeline::Phase phase) {
  std::vector<Rest> rests;
  for (const FineAxis& frame : fine.frames) {
    const bool both = frame.end_a && frame.end_b && frame.ends[0].given && frame.ends[1].given;
    if (frame.phase != phase || !both) continue;
    if (rests.empty() || std::abs(frame.seen_rad - rests.back().axis_rad) > rest_rad) {
      rests.emplace_back();
      rests.back().axis_rad = frame.seen_rad;
    }
    rests.back().add(frame);
  }
  std::erase_if(rests, [](const Rest& rest) { return rest.x[0].size() < least_frames; });
  return rests;
}

}  // namespace

std::optional<double> end_travel(const FineReading& fine, timeline::Phase phase) {
  const std::vector<Rest> rests = rests_of(fine, phase);
  if (rests.empty()) return std::nullopt;
  const auto [low, high] =
      std::minmax_element(rests.begin(), rests.end(),
                          [](const Rest& a, const Rest& b) { return a.axis_rad < b.axis_rad; });
  if (high->axis_rad - low->axis_rad < least_turn_rad) return std::nullopt;
  const double a = (high->place(0) - low->place(0)).norm();
  const double b = (high->place(1) - low->place(1)).norm();
  if (std::max(a, b) < least_travel) return std::nullopt;
  return std::min(a, b) / std::max(a, b);
}

}  // namespace rhumb::analyze
