#include "lens/mark_pattern.h"

#include <algorithm>
#include <cmath>

namespace rhumb::lens {

std::array<float, channel_count> share_of(MarkLook look) {
  const float half = std::sqrt(0.5F);
  switch (look) {
    case MarkLook::Dark:
      return {1.0F, 0.0F};
    case MarkLook::Grey:
      return {0.0F, 1.0F};
    case MarkLook::DarkAndGrey:
      return {half, half};
    case MarkLook::LightAndGrey:
      return {-half, half};
  }
  return {};
}

MarkPattern pattern_of(MarkLook look, const StatedMarks& stated, const RadialGrid& grid) {
  MarkPattern pattern;
  pattern.share = share_of(look);
  // A dot spans about 0.045 limbal radii (0.25 mm), a line 0.6 to 1.4 mm, dots follow each other at
  // about 0.4 mm: common practice, no source. Out of focus, dots run into one another.
  if (stated.lines) {
    pattern.forms = {{1, 7, false}, {1, 13, false}};
  } else {
    pattern.forms = {{std::max(1, stated.dots_per_end), 3, true}};
    if (stated.dots_per_end > 1) pattern.forms.push_back({1, 4 * stated.dots_per_end - 1, false});
  }
  const auto index_at = [&](double share) {
    return std::clamp(
        static_cast<int>(std::lround((share * stated.optic_radius - grid.first) / grid.step)), 0,
        grid.count - 1);
  };
  pattern.first = index_at(0.52);
  pattern.last = index_at(0.98);
  pattern.empty_below = index_at(0.52);
  return pattern;
}

namespace {

constexpr float surround_share =
    0.7F;  // of what lies right before and behind a dot that counts against it
using RayRow = std::array<float, ray_count>;

// Contrast of all rays, summed over the length of a mark about each distance, in units of its
// noise.
struct RaySums {
  std::vector<RayRow> sum;     // by distance
  std::vector<RayRow> usable;  // 1 or 0
  RayRow energy{};
  RayRow points{};
};

// Sums from the first distance up to (not including) each.
struct Cumulated {
  std::vector<RayRow> value;
  std::vector<RayRow> points;
};

Cumulated cumulate(const RayMap& rays, const MarkPattern& pattern, RaySums& out) {
  const int distances = rays.usable.rows;
  Cumulated sums;
  sums.value.resize(static_cast<std::size_t>(distances) + 1);
  sums.points.resize(static_cast<std::size_t>(distances) + 1);
  for (int distance = 0; distance < distances; ++distance) {
    const auto index = static_cast<std::size_t>(distance);
    const float* luma = rays.value[0].ptr<float>(distance);
    const float* saturation = rays.value[1].ptr<float>(distance);
    const uchar* usable = rays.usable.ptr<uchar>(distance);
    const bool in_range = distance >= pattern.first && distance <= pattern.last;
    for (std::size_t ray = 0; ray < ray_count; ++ray) {
      const float v = pattern.share[0] * luma[ray] + pattern.share[1] * saturation[ray];
      const auto counts = static_cast<float>(usable[ray]);
      sums.value[index + 1][ray] = sums.value[index][ray] + v;
      sums.points[index + 1][ray] = sums.points[index][ray] + counts;
      if (in_range) {
        out.energy[ray] += v * v;
        out.points[ray] += counts;
      }
    }
  }
  return sums;
}

RaySums sum_along(const RayMap& rays, const MarkPattern& pattern, const MarkForm& form) {
  RaySums out;
  const int distances = rays.usable.rows;
  out.sum.resize(static_cast<std::size_t>(distances));
  out.usable.resize(static_cast<std::size_t>(distances));
  const Cumulated sums = cumulate(rays, pattern, out);
  const int half = form.length / 2;
  const auto bound = [&](int distance) {
    return static_cast<std::size_t>(std::clamp(distance, 0, distances));
  };
  for (int distance = pattern.first; distance <= pattern.last; ++distance) {
    const std::size_t from = bound(distance - half);
    const std::size_t to = bound(distance + half + 1);
    const std::size_t before = bound(distance - half - 2);
    const std::size_t behind = bound(distance + half + 3);
    const auto index = static_cast<std::size_t>(distance);
    for (std::size_t ray = 0; ray < ray_count; ++ray) {
      const float n = sums.points[to][ray] - sums.points[from][ray];
      if (3.0F * n < 2.0F * static_cast<float>(form.length)) continue;
      const float middle = sums.value[to][ray] - sums.value[from][ray];
      float contrast = middle / n;
      float variance = 1.0F / n;
      const float around = sums.points[behind][ray] - sums.points[before][ray] - n;
      if (form.alone && around > 0.0F) {
        contrast -=
            surround_share * (sums.value[behind][ray] - sums.value[before][ray] - middle) / around;
        variance += surround_share * surround_share / around;
      }
      out.usable[index][ray] = 1.0F;
      out.sum[index][ray] = contrast / std::sqrt(variance);
    }
  }
  return out;
}

EndScores best_marks(const RaySums& rays, std::size_t axis, const MarkPattern& pattern,
                     const MarkForm& form) {
  const std::size_t opposite = axis + axis_count;
  EndScores best;
  std::vector<bool> taken(rays.sum.size(), false);
  for (int mark = 0; mark < form.per_end; ++mark) {
    float highest = -1e9F;
    int at = -1;
    for (int distance = pattern.first; distance <= pattern.last; ++distance) {
      const auto index = static_cast<std::size_t>(distance);
      if (taken[index] || rays.usable[index][axis] + rays.usable[index][opposite] == 0.0F) continue;
      // Limited, so that something strong at one end alone does not choose the place.
      const float value = std::clamp(rays.sum[index][axis], -4.0F, 10.0F) +
                          std::clamp(rays.sum[index][opposite], -4.0F, 10.0F);
      if (value > highest) {
        highest = value;
        at = distance;
      }
    }
    if (at < 0) break;
    const auto index = static_cast<std::size_t>(at);
    best.a += rays.sum[index][axis];
    best.b += rays.sum[index][opposite];
    best.usable_a += rays.usable[index][axis];
    best.usable_b += rays.usable[index][opposite];
    for (int near = std::max(0, at - form.length);
         near <= std::min(at + form.length, static_cast<int>(taken.size()) - 1); ++near) {
      taken[static_cast<std::size_t>(near)] = true;
    }
  }
  if (best.usable_a > 0.0F) best.a /= std::sqrt(best.usable_a);
  if (best.usable_b > 0.0F) best.b /= std::sqrt(best.usable_b);
  best.usable_a /= static_cast<float>(form.per_end);
  best.usable_b /= static_cast<float>(form.per_end);
  return best;
}

}  // namespace

std::array<EndScores, axis_count> score_ends(const RayMap& rays, const MarkPattern& pattern,
                                             const MarkForm& form) {
  const RaySums sums = sum_along(rays, pattern, form);
  const InnerContrast inner = inner_contrast(rays, pattern.empty_below);
  std::array<EndScores, axis_count> out;
  for (std::size_t axis = 0; axis < axis_count; ++axis) {
    EndScores ends = best_marks(sums, axis, pattern, form);
    const auto honest = [&](float matched, std::size_t ray) {
      return less_strange(matched, sums.energy[ray], sums.points[ray], inner.mean[ray],
                          inner.points[ray]);
    };
    ends.a = honest(ends.a, axis);
    ends.b = honest(ends.b, axis + axis_count);
    out[axis] = ends;
  }
  return out;
}

std::vector<float> mark_distances(const MarkProfile& profile, const RadialGrid& grid) {
  constexpr double nothing = 0.1;      // of the strongest distance,
  constexpr double fully = 0.4;        // and what counts in full
  constexpr double widest_gap = 0.08;  // limbal radii: dots stand up to 0.45 mm apart
  const auto count = static_cast<std::size_t>(grid.count);
  std::vector<double> raw(count, 0.0);
  for (const auto& channel : profile.weight)
    for (std::size_t k = 0; k < std::min(count, channel.size()); ++k)
      raw[k] = std::hypot(raw[k], static_cast<double>(channel[k]));
  // A window's lens centre, and with it the distance, is known to a step or so.
  std::vector<double> size(count, 0.0);
  for (std::size_t k = 0; k < count; ++k)
    size[k] = 0.25 * raw[k - std::min<std::size_t>(k, 1)] + 0.5 * raw[k] +
              0.25 * raw[std::min(count - 1, k + 1)];
  const auto strongest = std::max_element(size.begin(), size.end());
  const auto middle = static_cast<int>(strongest - size.begin());
  std::vector<float> share(count, 0.0F);
  if (!(*strongest > 0.0)) return std::vector<float>(count, 1.0F);
  const int most_empty = static_cast<int>(widest_gap / grid.step);
  for (const int direction : {-1, 1}) {
    int last = middle;
    for (int k = middle; k >= 0 && k < grid.count && std::abs(k - last) <= most_empty;
         k += direction) {
      const auto index = static_cast<std::size_t>(k);
      const double part = (size[index] / *strongest - nothing) / (fully - nothing);
      share[index] = static_cast<float>(std::clamp(part, 0.0, 1.0));
      if (part > 0.5) last = k;
    }
  }
  return share;
}

}  // namespace rhumb::lens
