#include "lens/rays.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "angle/angle.h"

namespace rhumb::lens {
namespace {

constexpr int core = 1;        // rays either side that are averaged: marks span two to five degrees
constexpr int neighbours = 9;  // rays either side that a ray is compared with
constexpr float mad_to_sigma = 1.4826F;

struct Column {
  std::array<float, ray_count> value{};
  std::array<bool, ray_count> usable{};
};

// Sums over any arc of rays, from prefix sums over one and a bit turns.
class ArcSums {
 public:
  explicit ArcSums(const Column& column) {
    for (int k = 0; k < ray_count + 2 * reach; ++k) {
      const auto ray = static_cast<std::size_t>((k - reach + ray_count) % ray_count);
      const auto index = static_cast<std::size_t>(k);
      value_[index + 1] = value_[index] + (column.usable[ray] ? column.value[ray] : 0.0F);
      count_[index + 1] = count_[index] + (column.usable[ray] ? 1 : 0);
    }
  }
  // Over the rays from..to inclusive, relative to ray 0; both within `reach` of [0, ray_count).
  float value(int from, int to) const { return value_[at(to + 1)] - value_[at(from)]; }
  int count(int from, int to) const { return count_[at(to + 1)] - count_[at(from)]; }

 private:
  static constexpr int reach = neighbours + 1;
  static std::size_t at(int ray) { return static_cast<std::size_t>(ray + reach); }
  std::array<float, ray_count + 2 * reach + 1> value_{};
  std::array<int, ray_count + 2 * reach + 1> count_{};
};

// Mean of the core less mean of the neighbours beyond a gap of two rays.
void subtract_neighbours(Column& column) {
  const ArcSums sums(column);
  constexpr int gap = core + 2;
  for (int ray = 0; ray < ray_count; ++ray) {
    const int near_count = sums.count(ray - core, ray + core);
    const int far_count = sums.count(ray - neighbours, ray + neighbours) - sums.count(ray - gap, ray + gap);
    const auto index = static_cast<std::size_t>(ray);
    if (!column.usable[index] || near_count <= core || far_count < neighbours / 2) {
      column.usable[index] = false;
      column.value[index] = 0.0F;
      continue;
    }
    const float far_sum = sums.value(ray - neighbours, ray + neighbours) - sums.value(ray - gap, ray + gap);
    column.value[index] = sums.value(ray - core, ray + core) / static_cast<float>(near_count) -
                          far_sum / static_cast<float>(far_count);
  }
}

float robust_sigma(const Column& column) {
  std::array<float, ray_count> magnitudes{};
  std::size_t count = 0;
  for (std::size_t index = 0; index < ray_count; ++index) {
    if (column.usable[index]) magnitudes[count++] = std::abs(column.value[index]);
  }
  if (count < 30) return 0.0F;
  const auto middle = magnitudes.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(magnitudes.begin(), middle, magnitudes.begin() + static_cast<std::ptrdiff_t>(count));
  return mad_to_sigma * *middle;
}

float bilinear(const cv::Mat1f& map, double x, double y) {
  const int col = static_cast<int>(x);
  const int row = static_cast<int>(y);
  const auto fx = static_cast<float>(x - col);
  const auto fy = static_cast<float>(y - row);
  const float* upper = map.ptr<float>(row) + col;
  const float* lower = map.ptr<float>(row + 1) + col;
  return (1.0F - fy) * ((1.0F - fx) * upper[0] + fx * upper[1]) +
         fy * ((1.0F - fx) * lower[0] + fx * lower[1]);
}

}  // namespace

RayMap ray_map(const ContrastMap& map, const cv::Mat1b& inside, const PatchGeometry& geometry,
               const Eigen::Vector2d& centre, const RadialGrid& grid) {
  RayMap rays;
  for (auto& value : rays.value) value = cv::Mat1f::zeros(ray_count, grid.count);
  rays.usable = cv::Mat1b::zeros(ray_count, grid.count);
  const Eigen::Vector2d origin = geometry.pixel_from(centre);
  const int last = geometry.size_px - 2;
  std::array<double, ray_count> cosine{};
  std::array<double, ray_count> sine{};
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const double phi = angle::rad_from_deg(static_cast<double>(ray));
    cosine[ray] = std::cos(phi);
    sine[ray] = std::sin(phi);
  }
  // Below this the eight-bit picture, not the scene, sets the spread.
  constexpr std::array<float, channel_count> least_sigma = {0.002F, 0.006F};
  for (int distance = 0; distance < grid.count; ++distance) {
    std::array<Column, channel_count> columns;
    const double radius_px = grid.at(distance) * geometry.pixels_per_radius;
    for (std::size_t index = 0; index < ray_count; ++index) {
      const double x = origin.x() + radius_px * cosine[index];
      const double y = origin.y() - radius_px * sine[index];
      if (x < 0.0 || y < 0.0 || x >= last || y >= last) continue;
      const int col = static_cast<int>(x + 0.5);
      const int row = static_cast<int>(y + 0.5);
      if (!map.usable(row, col) || (!inside.empty() && !inside(row, col))) continue;
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        columns[channel].value[index] = bilinear(map.value[channel], x, y);
        columns[channel].usable[index] = true;
      }
    }
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      subtract_neighbours(columns[channel]);
      const float sigma = std::max(least_sigma[channel], robust_sigma(columns[channel]));
      for (int ray = 0; ray < ray_count; ++ray) {
        const auto index = static_cast<std::size_t>(ray);
        if (!columns[channel].usable[index]) continue;
        rays.value[channel](ray, distance) = columns[channel].value[index] / sigma;
        rays.usable(ray, distance) = 255;
      }
    }
  }
  return rays;
}

float limited(float contrast) {
  constexpr float knee = 8.0F;
  const float magnitude = std::abs(contrast);
  if (magnitude <= knee) return contrast;
  return std::copysign(knee + 2.0F * std::log(magnitude / knee), contrast);
}

RayScores score_rays(const RayMap& rays, const MarkProfile& profile) {
  RayScores scores;
  const int distances = rays.usable.cols;
  float all = 0.0F;
  for (const auto& weights : profile.weight) {
    for (const float weight : weights) all += weight * weight;
  }
  if (all <= 0.0F) return scores;
  for (int ray = 0; ray < ray_count; ++ray) {
    float sum = 0.0F;
    float squares = 0.0F;
    float energy = 0.0F;
    int points = 0;
    float inner = 0.0F;
    int inner_points = 0;
    for (int distance = 0; distance < distances; ++distance) {
      if (!rays.usable(ray, distance)) continue;
      if (distance < profile.empty_below) {
        for (const auto& channel : rays.value) inner += std::min(8.0F, std::abs(channel(ray, distance)));
        ++inner_points;
        continue;
      }
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        const float weight = profile.weight[channel][static_cast<std::size_t>(distance)];
        if (weight == 0.0F) continue;
        const float value = limited(rays.value[channel](ray, distance));
        sum += weight * value;
        squares += weight * weight;
        energy += value * value;
        ++points;
      }
    }
    const auto index = static_cast<std::size_t>(ray);
    scores.usable[index] = squares / all;
    if (scores.usable[index] <= 0.25F) continue;
    const float matched = sum / std::sqrt(squares);
    // Energy beyond what the match and noise explain is something else: a bubble, an instrument.
    const float explained = matched * matched + 1.5F * static_cast<float>(points);
    scores.score[index] = matched * std::sqrt(explained / std::max(explained, energy));
    if (inner_points >= 3) {
      // Noise alone makes a mean magnitude of 0.8 in each channel.
      const float mean = inner / static_cast<float>(channel_count * inner_points);
      scores.score[index] *= std::exp(-std::max(0.0F, mean - 1.6F));
    }
  }
  return scores;
}

}  // namespace rhumb::lens
