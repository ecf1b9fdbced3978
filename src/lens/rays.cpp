#include "lens/rays.h"

#include <algorithm>
#include <cmath>

namespace rhumb::lens {
namespace {

// Running sums of all rays, over distances.
struct RaySums {
  std::array<float, ray_count> sum{};
  std::array<float, ray_count> squares{};
  std::array<float, ray_count> energy{};
  std::array<float, ray_count> points{};
};

void add_distance(const RayMap& rays, const MarkProfile& profile, int distance, RaySums& sums) {
  const uchar* usable = rays.usable.ptr<uchar>(distance);
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const float weight = profile.weight[channel][static_cast<std::size_t>(distance)];
    if (weight == 0.0F) continue;
    const float* value = rays.value[channel].ptr<float>(distance);
    for (std::size_t ray = 0; ray < ray_count; ++ray) {
      const auto counts = static_cast<float>(usable[ray]);
      sums.sum[ray] += weight * value[ray];
      sums.squares[ray] += counts * weight * weight;
      sums.energy[ray] += value[ray] * value[ray];
      sums.points[ray] += counts;
    }
  }
}

}  // namespace

InnerContrast inner_contrast(const RayMap& rays, int below) {
  InnerContrast out;
  for (int distance = 0; distance < std::min(below, rays.usable.rows); ++distance) {
    const uchar* usable = rays.usable.ptr<uchar>(distance);
    for (const auto& channel : rays.value) {
      const float* value = channel.ptr<float>(distance);
      for (std::size_t ray = 0; ray < ray_count; ++ray)
        out.mean[ray] += std::min(8.0F, std::abs(value[ray]));
    }
    for (std::size_t ray = 0; ray < ray_count; ++ray)
      out.points[ray] += static_cast<float>(usable[ray]);
  }
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    out.mean[ray] /= std::max(1.0F, static_cast<float>(channel_count) * out.points[ray]);
  }
  return out;
}

float less_strange(float matched, float energy, float points, float inner_mean,
                   float inner_points) {
  // Energy beyond what the match and noise explain is something else: a bubble, an instrument.
  const float explained = matched * matched + 1.5F * points;
  float score = matched * std::sqrt(explained / std::max(explained, energy));
  // Noise alone makes a mean magnitude of 0.8 in each channel.
  if (inner_points >= 3.0F) score *= std::exp(-std::max(0.0F, inner_mean - 1.6F));
  return score;
}

RayScores score_rays(const RayMap& rays, const MarkProfile& profile) {
  RayScores scores;
  float all = 0.0F;
  for (const auto& weights : profile.weight) {
    for (const float weight : weights) all += weight * weight;
  }
  if (all <= 0.0F) return scores;
  RaySums sums;
  for (int distance = profile.empty_below; distance < rays.usable.rows; ++distance) {
    add_distance(rays, profile, distance, sums);
  }
  const InnerContrast inner = inner_contrast(rays, profile.empty_below);
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    scores.usable[ray] = sums.squares[ray] / all;
    if (scores.usable[ray] <= 0.25F) continue;
    scores.score[ray] = less_strange(sums.sum[ray] / std::sqrt(sums.squares[ray]), sums.energy[ray],
                                     sums.points[ray], inner.mean[ray], inner.points[ray]);
  }
  return scores;
}

}  // namespace rhumb::lens
