#include "lens/axis_search.h"

#include <algorithm>
#include <cmath>

#include "lens/ray_reader.h"

namespace rhumb::lens {
MarkProfile uninformed_profile(MarkLook look, double optic_radius, const RadialGrid& grid) {
  const std::array<float, channel_count> share = share_of(look);
  MarkProfile profile;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    for (int distance = 0; distance < grid.count; ++distance) {
      const double place = grid.at(distance) / optic_radius;
      const float weight = place > 0.56 && place < 0.98 ? 1.0F : 0.0F;
      if (place < 0.54) profile.empty_below = distance + 1;
      profile.weight[channel].push_back(share[channel] * weight);
    }
  }
  return profile;
}

float log_ratio(float end_score, float usable, float crossing) {
  // Nothing scores 0 with a spread of 1.7 and long tails; the ratio rises with the score from the
  // crossing and saturates, so that one end can't outvote the other. Scaled by what could be read
  // of the end.
  const float ratio = std::clamp(0.8F * (end_score - crossing), -2.5F, 7.0F);
  return ratio * std::min(1.0F, usable);
}

namespace {

float pair_score(const RayScores& rays, std::size_t axis, float crossing) {
  return log_ratio(rays.score[axis], rays.usable[axis], crossing) +
         log_ratio(rays.score[axis + axis_count], rays.usable[axis + axis_count], crossing);
}

void keep_better(AxisScores& best, const RayScores& rays, const Eigen::Vector2d& centre,
                 float penalty, float crossing) {
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    // The raw scores break ties where the ratio saturates.
    const float tie = 0.05F * (std::min(rays.score[axis], 60.0F) +
                               std::min(rays.score[axis + axis_count], 60.0F));
    const float total = pair_score(rays, axis, crossing) + tie - penalty;
    if (total <= best.total[axis]) continue;
    best.total[axis] = total;
    best.end_a[axis] = rays.score[axis];
    best.end_b[axis] = rays.score[axis + axis_count];
    best.usable_a[axis] = rays.usable[axis];
    best.usable_b[axis] = rays.usable[axis + axis_count];
    best.centre[axis] = centre.cast<float>();
  }
}

void keep_better(AxisScores& best, const RayMap& rays, const MarkPattern& pattern,
                 const Eigen::Vector2d& centre, float penalty) {
  for (const MarkForm& form : pattern.forms) {
    const std::array<EndScores, axis_count> by_axis = score_ends(rays, pattern, form);
    for (std::size_t axis = 0; axis < axis_count; ++axis) {
      const EndScores& ends = by_axis[axis];
      const float tie = 0.05F * (std::min(ends.a, 60.0F) + std::min(ends.b, 60.0F));
      const float total = log_ratio(ends.a, ends.usable_a, pattern.crossing) +
                          log_ratio(ends.b, ends.usable_b, pattern.crossing) + tie - penalty;
      if (total <= best.total[axis]) continue;
      best.total[axis] = total;
      best.end_a[axis] = ends.a;
      best.end_b[axis] = ends.b;
      best.usable_a[axis] = ends.usable_a;
      best.usable_b[axis] = ends.usable_b;
      best.centre[axis] = centre.cast<float>();
    }
  }
}

void keep_better(AxisScores& best, const RayMap& rays, const MarkProfile& profile,
                 const Eigen::Vector2d& centre, float penalty) {
  keep_better(best, score_rays(rays, profile), centre, penalty, profile.crossing);
}

}  // namespace

std::vector<AxisScores> search_axis(const ContrastMap& map, const cv::Mat1b& inside,
                                    const PatchGeometry& geometry, const RadialGrid& grid,
                                    const CentreGrid& centres, std::span<const Marks> marks) {
  std::vector<AxisScores> best(marks.size());
  for (AxisScores& scores : best) scores.total.fill(-1e9F);
  const RayReader reader(map, inside);
  for (int down = -centres.reach; down <= centres.reach; ++down) {
    for (int right = -centres.reach; right <= centres.reach; ++right) {
      const Eigen::Vector2d offset(centres.step * right, centres.step * down);
      const auto penalty =
          static_cast<float>(0.5 * offset.squaredNorm() / (centres.spread * centres.spread));
      const Eigen::Vector2d centre = centres.middle + offset;
      const RayMap rays = reader.from(centre, geometry, grid);
      for (std::size_t k = 0; k < marks.size(); ++k) {
        std::visit([&](const auto& one) { keep_better(best[k], rays, one, centre, penalty); },
                   marks[k]);
      }
    }
  }
  return best;
}

}  // namespace rhumb::lens
