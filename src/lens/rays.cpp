#include "lens/rays.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "lens/bilinear.h"

namespace rhumb::lens {
namespace {

constexpr std::size_t core =
    1;  // rays either side that are averaged: marks span two to five degrees
constexpr std::size_t neighbours = 9;  // rays either side that a ray is compared with
constexpr float mad_to_sigma = 1.4826F;
constexpr std::size_t sigma_stride = 3;  // rays that share a core say the same of the noise

using Along = std::array<float, ray_count>;

// Values of both channels along a circle, and 1 or 0 by ray for what can be used; unusable values
// are 0.
struct Circle {
  std::array<Along, channel_count> value{};
  Along usable{};
};

// Sums over any arc of rays, from prefix sums over one and a bit turns.
class ArcSums {
 public:
  explicit ArcSums(const Along& along) {
    std::size_t index = 0;
    const auto add = [&](float value) {
      sum_[index + 1] = sum_[index] + value;
      ++index;
    };
    for (std::size_t ray = ray_count - reach; ray < ray_count; ++ray) add(along[ray]);
    for (std::size_t ray = 0; ray < ray_count; ++ray) add(along[ray]);
    for (std::size_t ray = 0; ray < reach; ++ray) add(along[ray]);
  }
  // Over the rays ray - before .. ray + behind.
  float around(std::size_t ray, std::size_t before, std::size_t behind) const {
    return sum_[ray + reach + behind + 1] - sum_[ray + reach - before];
  }

 private:
  static constexpr std::size_t reach = neighbours + 1;
  std::array<float, ray_count + 2 * reach + 1> sum_{};
};

// What can be compared with its neighbours: by ray, how many can be read in the core and beyond a
// gap of two rays (at least 1, to divide by), and 1 or 0 for whether they are enough.
struct Neighbourhood {
  Along near{};
  Along far{};
  Along usable{};
};

constexpr std::size_t gap = core + 2;
constexpr std::size_t least_far = neighbours / 2;

Neighbourhood neighbourhood_of(const Along& usable) {
  const ArcSums count(usable);
  Neighbourhood out;
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const float near = count.around(ray, core, core);
    const float far = count.around(ray, neighbours, neighbours) - count.around(ray, gap, gap);
    const bool enough = usable[ray] != 0.0F && near > static_cast<float>(core) &&
                        far >= static_cast<float>(least_far);
    out.usable[ray] = enough ? 1.0F : 0.0F;
    out.near[ray] = std::max(1.0F, near);
    out.far[ray] = std::max(1.0F, far);
  }
  return out;
}

// Mean of the core less mean of the neighbours beyond the gap.
void subtract_neighbours(Along& values, const Neighbourhood& by_ray) {
  const ArcSums value(values);
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const float far_sum = value.around(ray, neighbours, neighbours) - value.around(ray, gap, gap);
    const float contrast =
        value.around(ray, core, core) / by_ray.near[ray] - far_sum / by_ray.far[ray];
    values[ray] = by_ray.usable[ray] != 0.0F ? contrast : 0.0F;
  }
}

float robust_sigma(const Along& values, const Along& usable) {
  std::array<float, ray_count / sigma_stride + 1> magnitudes;
  std::size_t count = 0;
  for (std::size_t index = 0; index < ray_count; index += sigma_stride) {
    magnitudes[count] = std::abs(values[index]);
    count += usable[index] != 0.0F ? 1 : 0;
  }
  if (count < 10) return 0.0F;
  const auto middle = magnitudes.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(magnitudes.begin(), middle,
                   magnitudes.begin() + static_cast<std::ptrdiff_t>(count));
  return mad_to_sigma * *middle;
}

struct Directions {
  std::array<float, ray_count> cosine{};
  std::array<float, ray_count> sine{};
};

Directions ray_directions() {
  Directions out;
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const double phi = angle::rad_from_deg(static_cast<double>(ray));
    out.cosine[ray] = static_cast<float>(std::cos(phi));
    out.sine[ray] = static_cast<float>(std::sin(phi));
  }
  return out;
}

float limited(float contrast) {
  constexpr float knee = 8.0F;
  const float magnitude = std::abs(contrast);
  if (magnitude <= knee) return contrast;
  return std::copysign(knee + 2.0F * std::log(magnitude / knee), contrast);
}

// Both channels along the circle of a radius, where they can be used.
void read_circle(const ContrastMap& map, const cv::Mat1b& inside, const Directions& directions,
                 int last, const Eigen::Vector2f& origin, float radius_px, Circle& circle) {
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const float x = origin.x() + radius_px * directions.cosine[ray];
    const float y = origin.y() - radius_px * directions.sine[ray];
    circle.usable[ray] = 0.0F;
    for (Along& value : circle.value) value[ray] = 0.0F;
    const bool in_map =
        x >= 0.0F && y >= 0.0F && x < static_cast<float>(last) && y < static_cast<float>(last);
    if (!in_map) continue;
    const BilinearPlace place(x, y);
    const int col = place.nearest_col();
    const int row = place.nearest_row();
    if (map.usable(row, col) == 0 || (!inside.empty() && inside(row, col) == 0)) continue;
    circle.usable[ray] = 1.0F;
    for (std::size_t channel = 0; channel < channel_count; ++channel)
      circle.value[channel][ray] = place.read(map.value[channel]);
  }
}

}  // namespace

RayMap ray_map(const ContrastMap& map, const cv::Mat1b& inside, const PatchGeometry& geometry,
               const Eigen::Vector2d& centre, const RadialGrid& grid) {
  static const Directions directions = ray_directions();
  RayMap rays;
  for (auto& value : rays.value) value = cv::Mat1f::zeros(grid.count, ray_count);
  rays.usable = cv::Mat1b::zeros(grid.count, ray_count);
  const Eigen::Vector2f origin = geometry.pixel_from(centre).cast<float>();
  // Below this the eight-bit picture, not the scene, sets the spread.
  constexpr std::array<float, channel_count> least_sigma = {0.002F, 0.006F};
  Circle circle;
  for (int distance = 0; distance < grid.count; ++distance) {
    read_circle(map, inside, directions, geometry.size_px - 2, origin,
                static_cast<float>(grid.at(distance) * geometry.pixels_per_radius), circle);
    const Neighbourhood by_ray = neighbourhood_of(circle.usable);
    uchar* usable = rays.usable.ptr<uchar>(distance);
    for (std::size_t ray = 0; ray < ray_count; ++ray) usable[ray] = by_ray.usable[ray] != 0.0F;
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      Along& along = circle.value[channel];
      subtract_neighbours(along, by_ray);
      const float scale = 1.0F / std::max(least_sigma[channel], robust_sigma(along, by_ray.usable));
      float* value = rays.value[channel].ptr<float>(distance);
      for (std::size_t ray = 0; ray < ray_count; ++ray) value[ray] = limited(scale * along[ray]);
    }
  }
  return rays;
}

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
