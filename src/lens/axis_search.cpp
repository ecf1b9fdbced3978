#include "lens/axis_search.h"

#include <algorithm>
#include <cmath>

namespace rhumb::lens {
namespace {

std::array<float, channel_count> share_of(MarkLook look) {
  const float half = std::sqrt(0.5F);
  switch (look) {
    case MarkLook::Dark: return {1.0F, 0.0F};
    case MarkLook::Grey: return {0.0F, 1.0F};
    case MarkLook::DarkAndGrey: return {half, half};
    case MarkLook::LightAndGrey: return {-half, half};
  }
  return {};
}

}  // namespace

MarkPattern pattern_of(MarkLook look, const StatedMarks& stated, const RadialGrid& grid) {
  MarkPattern pattern;
  pattern.share = share_of(look);
  // A dot spans about 0.045 limbal radii (0.25 mm), a line 0.6 to 1.4 mm, dots follow each other at about 0.4 mm:
  // common practice, no source. Out of focus, dots run into one another.
  if (stated.lines) {
    pattern.forms = {{1, 7, false}, {1, 13, false}};
  } else {
    pattern.forms = {{std::max(1, stated.dots_per_end), 3, true}};
    if (stated.dots_per_end > 1) pattern.forms.push_back({1, 4 * stated.dots_per_end - 1, false});
  }
  const auto index_at = [&](double share) {
    return std::clamp(static_cast<int>(std::lround((share * stated.optic_radius - grid.first) / grid.step)), 0,
                      grid.count - 1);
  };
  pattern.first = index_at(0.52);
  pattern.last = index_at(0.98);
  pattern.empty_below = index_at(0.52);
  return pattern;
}

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
  // Nothing scores 0 with a spread of 1.7 and long tails; the ratio rises with the score from the crossing and
  // saturates, so that one end can't outvote the other. Scaled by what could be read of the end.
  const float ratio = std::clamp(0.8F * (end_score - crossing), -2.5F, 7.0F);
  return ratio * std::min(1.0F, usable);
}

namespace {

float pair_score(const RayScores& rays, std::size_t axis, float crossing) {
  return log_ratio(rays.score[axis], rays.usable[axis], crossing) +
         log_ratio(rays.score[axis + axis_count], rays.usable[axis + axis_count], crossing);
}

void keep_better(AxisScores& best, const RayScores& rays, const Eigen::Vector2d& centre, float penalty,
                 float crossing) {
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


// One ray's contrast summed over the length of a mark about each distance, in units of its noise.
struct RaySums {
  std::vector<float> sum;
  std::vector<bool> usable;
  float energy = 0.0F;
  int points = 0;
  float inner = 0.0F;
  int inner_points = 0;
};

void sum_along(const RayMap& rays, int ray, const MarkPattern& pattern, const MarkForm& form, RaySums& out) {
  const int distances = rays.usable.cols;
  const auto count = static_cast<std::size_t>(distances);
  out = {};
  out.sum.assign(count, 0.0F);
  out.usable.assign(count, false);
  std::vector<float> value(count + 1, 0.0F);
  std::vector<int> points(count + 1, 0);
  for (int distance = 0; distance < distances; ++distance) {
    const auto index = static_cast<std::size_t>(distance);
    float v = 0.0F;
    const bool usable = rays.usable(ray, distance) != 0;
    if (usable) {
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        const float z = limited(rays.value[channel](ray, distance));
        v += pattern.share[channel] * z;
        if (distance < pattern.empty_below) out.inner += std::abs(z);
      }
      out.inner_points += distance < pattern.empty_below ? 1 : 0;
      if (distance >= pattern.first && distance <= pattern.last) {
        out.energy += v * v;
        ++out.points;
      }
    }
    value[index + 1] = value[index] + v;
    points[index + 1] = points[index] + (usable ? 1 : 0);
  }
  const int half = form.length / 2;
  const auto mean_over = [&](int low, int high, int& n) {
    const auto from = static_cast<std::size_t>(std::max(0, low));
    const auto to = static_cast<std::size_t>(std::min(distances - 1, high) + 1);
    n = to > from ? points[to] - points[from] : 0;
    return n > 0 ? (value[to] - value[from]) / static_cast<float>(n) : 0.0F;
  };
  constexpr float surround_share = 0.7F;
  for (int distance = pattern.first; distance <= pattern.last; ++distance) {
    int n = 0;
    const float middle = mean_over(distance - half, distance + half, n);
    if (3 * n < 2 * form.length) continue;
    const auto index = static_cast<std::size_t>(distance);
    out.usable[index] = true;
    float contrast = middle;
    float variance = 1.0F / static_cast<float>(n);
    if (form.alone) {
      int before = 0;
      int behind = 0;
      const float a = mean_over(distance - half - 2, distance - half - 1, before);
      const float b = mean_over(distance + half + 1, distance + half + 2, behind);
      if (before + behind > 0) {
        const auto count_a = static_cast<float>(before);
        const auto count_b = static_cast<float>(behind);
        contrast -= surround_share * (count_a * a + count_b * b) / (count_a + count_b);
        variance += surround_share * surround_share / (count_a + count_b);
      }
    }
    out.sum[index] = contrast / std::sqrt(variance);
  }
}

// What an end's matched score is worth when the ray holds more than the marks: a bubble, an instrument.
float less_strange(float matched, const RaySums& ray) {
  const float explained = matched * matched + 1.5F * static_cast<float>(ray.points);
  float score = matched * std::sqrt(explained / std::max(explained, ray.energy));
  if (ray.inner_points >= 3) {
    const float mean = ray.inner / static_cast<float>(channel_count * ray.inner_points);
    score *= std::exp(-std::max(0.0F, mean - 1.6F));
  }
  return score;
}

struct EndScores {
  float a = 0.0F;
  float b = 0.0F;
  float usable_a = 0.0F;
  float usable_b = 0.0F;
};

// The distances, the same for both ends, at which marks explain the two rays best.
EndScores best_marks(const RaySums& a, const RaySums& b, const MarkPattern& pattern, const MarkForm& form) {
  EndScores best;
  std::vector<bool> taken(a.sum.size(), false);
  for (int mark = 0; mark < form.per_end; ++mark) {
    float highest = -1e9F;
    int at = -1;
    for (int distance = pattern.first; distance <= pattern.last; ++distance) {
      const auto index = static_cast<std::size_t>(distance);
      if (taken[index] || (!a.usable[index] && !b.usable[index])) continue;
      // Limited, so that something strong at one end alone does not choose the place.
      const float value = std::clamp(a.sum[index], -4.0F, 10.0F) + std::clamp(b.sum[index], -4.0F, 10.0F);
      if (value > highest) {
        highest = value;
        at = distance;
      }
    }
    if (at < 0) break;
    const auto index = static_cast<std::size_t>(at);
    best.a += a.sum[index];
    best.b += b.sum[index];
    best.usable_a += a.usable[index] ? 1.0F : 0.0F;
    best.usable_b += b.usable[index] ? 1.0F : 0.0F;
    for (int near = -form.length; near <= form.length; ++near) {
      if (at + near >= 0 && at + near < static_cast<int>(taken.size())) {
        taken[static_cast<std::size_t>(at + near)] = true;
      }
    }
  }
  const auto per_end = static_cast<float>(form.per_end);
  if (best.usable_a > 0.0F) best.a /= std::sqrt(best.usable_a);
  if (best.usable_b > 0.0F) best.b /= std::sqrt(best.usable_b);
  best.usable_a /= per_end;
  best.usable_b /= per_end;
  best.a = less_strange(best.a, a);
  best.b = less_strange(best.b, b);
  return best;
}

void keep_better(AxisScores& best, const RayMap& rays, const MarkPattern& pattern,
                 const Eigen::Vector2d& centre, float penalty) {
  std::vector<RaySums> sums(ray_count);
  for (const MarkForm& form : pattern.forms) {
    for (int ray = 0; ray < ray_count; ++ray) {
      sum_along(rays, ray, pattern, form, sums[static_cast<std::size_t>(ray)]);
    }
    for (std::size_t axis = 0; axis < axis_count; ++axis) {
      const EndScores ends = best_marks(sums[axis], sums[axis + axis_count], pattern, form);
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
  for (int down = -centres.reach; down <= centres.reach; ++down) {
    for (int right = -centres.reach; right <= centres.reach; ++right) {
      const Eigen::Vector2d offset(centres.step * right, centres.step * down);
      const auto penalty =
          static_cast<float>(0.5 * offset.squaredNorm() / (centres.spread * centres.spread));
      const Eigen::Vector2d centre = centres.middle + offset;
      const RayMap rays = ray_map(map, inside, geometry, centre, grid);
      for (std::size_t k = 0; k < marks.size(); ++k) {
        std::visit([&](const auto& one) { keep_better(best[k], rays, one, centre, penalty); }, marks[k]);
      }
    }
  }
  return best;
}

}  // namespace rhumb::lens
