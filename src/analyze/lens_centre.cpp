#include "analyze/lens_centre.h"

#include <algorithm>
#include <cmath>

#include "analyze/refine_error.h"
#include "lens/end_line.h"

namespace rhumb::analyze {
namespace {

constexpr double centre_window_s =
    0.4;  // the centre is averaged over this: the eye's tilt moves it slowly

}  // namespace

void smooth_centres(Track& track, const std::vector<EndPair>& ends, const Levers& levers,
                    std::span<const double> time_s) {
  const std::size_t n = track.frame.size();
  std::vector<Eigen::Vector2d> corrected(n);
  std::vector<double> weight(n, 0.0);
  for (std::size_t k = 0; k < n; ++k) {
    corrected[k] = track.centre[k];
    if (!shows(ends[k].a) || !shows(ends[k].b)) continue;
    const double offset = levers.offset_of(ends[k].a.turn_rad, ends[k].b.turn_rad);
    const Eigen::Vector2d across(-std::sin(track.axis_rad[k]), std::cos(track.axis_rad[k]));
    corrected[k] += std::clamp(offset, -0.05, 0.05) * across;
    const double se = 0.5 * levers.mean() * std::hypot(honest_se(ends[k].a), honest_se(ends[k].b));
    weight[k] = 1.0 / (se * se + 1e-6);
  }
  std::vector<Eigen::Vector2d> smooth(n);
  std::size_t from = 0;
  for (std::size_t k = 0; k < n; ++k) {
    const double now = time_s[track.frame[k]];
    while (time_s[track.frame[from]] < now - 3.0 * centre_window_s) ++from;
    Eigen::Vector2d sum = Eigen::Vector2d::Zero();
    double total = 0.0;
    for (std::size_t j = from; j < n && time_s[track.frame[j]] <= now + 3.0 * centre_window_s;
         ++j) {
      const double apart = (time_s[track.frame[j]] - now) / centre_window_s;
      const double w = weight[j] * std::exp(-0.5 * apart * apart);
      sum += w * corrected[j];
      total += w;
    }
    smooth[k] = total > 0.0 ? Eigen::Vector2d(sum / total) : track.centre[k];
  }
  track.centre = std::move(smooth);
}

std::optional<double> centre_on_line(Track& track, const PairTemplate& form, bool end_a) {
  // The line is the recording's mean; what moves the lens in its bag or tilts the eye moves the
  // centre about it. A blurred mark on uneven ground has its middle beside its line.
  constexpr double least_se = 0.008;
  constexpr double most_se = 0.02;
  constexpr double most_offset = 0.1;  // limbal radii (0.6 mm)
  const lens::MarkTemplate& mark = end_a ? form.a : form.b;
  const lens::EndLine line = lens::end_line_of(mark, radial_grid, strip_geometry);
  if (!line.found || line.offset_se > most_se || std::abs(line.offset) > most_offset)
    return std::nullopt;
  // Seen from the other side, what lies to the left lies to the right.
  const double across = end_a ? line.offset : -line.offset;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    const double axis = track.axis_rad[k];
    track.centre[k] += across * Eigen::Vector2d(-std::sin(axis), std::cos(axis));
    track.axis_rad[k] -= line.offset / mark.mean_distance;
  }
  return std::hypot(least_se, line.offset_se);
}

}  // namespace rhumb::analyze
