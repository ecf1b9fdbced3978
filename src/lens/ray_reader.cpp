#include "lens/ray_reader.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "angle/angle.h"
#include "lens/side_by_side.h"

namespace rhumb::lens {
namespace {

constexpr std::size_t core =
    1;  // rays either side that are averaged: marks span two to five degrees
constexpr std::size_t neighbours = 9;  // rays either side that a ray is compared with
constexpr std::size_t gap = core + 2;
constexpr std::size_t least_far = neighbours / 2;
constexpr float mad_to_sigma = 1.4826F;
constexpr std::size_t sigma_stride = 3;  // rays that share a core say the same of the noise
constexpr std::size_t sigma_count = ray_count / sigma_stride;

using Along = std::array<float, ray_count>;
using Circle = RayReader::Circle;
constexpr std::size_t usable_row = channel_count;

// Prefix sums over one and a bit turns, from which those over any arc of rays follow.
constexpr std::size_t reach = neighbours + 1;
using Sums = std::array<float, ray_count + 2 * reach + 1>;

// All rows at once: each sum waits for the one before it, so the rows fill one another's pauses.
void add_up(const Circle& circle, std::array<Sums, channel_count + 1>& sums) {
  std::size_t index = 0;
  std::array<float, channel_count + 1> sum{};
  const auto add = [&](std::size_t ray) {
    for (std::size_t row = 0; row < sum.size(); ++row) {
      sums[row][index] = sum[row];
      sum[row] += circle[row][ray];
    }
    ++index;
  };
  for (std::size_t ray = ray_count - reach; ray < ray_count; ++ray) add(ray);
  for (std::size_t ray = 0; ray < ray_count; ++ray) add(ray);
  for (std::size_t ray = 0; ray < reach; ++ray) add(ray);
  for (std::size_t row = 0; row < sum.size(); ++row) sums[row][index] = sum[row];
}

// Over the rays ray - around .. ray + around.
float arc(const Sums& sums, std::size_t ray, std::size_t around) {
  return sums[ray + reach + around + 1] - sums[ray + reach - around];
}
float beyond_gap(const Sums& sums, std::size_t ray) {
  return arc(sums, ray, neighbours) - arc(sums, ray, gap);
}

// What can be compared with its neighbours: by ray, how many can be read in the core and beyond a
// gap of two rays (at least 1, to divide by), and 1 or 0 for whether they are enough.
struct Neighbourhood {
  Along near{};
  Along far{};
  Along usable{};
};

void count_neighbours(const Along& usable, const Sums& count, Neighbourhood& out) {
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const float near = arc(count, ray, core);
    const float far = beyond_gap(count, ray);
    const bool enough = (usable[ray] != 0.0F) & (near > static_cast<float>(core)) &
                        (far >= static_cast<float>(least_far));
    out.usable[ray] = enough ? 1.0F : 0.0F;
    out.near[ray] = std::max(1.0F, near);
    out.far[ray] = std::max(1.0F, far);
  }
}

// Mean of the core less mean of the neighbours beyond the gap.
void compare(const Sums& sums, const Neighbourhood& by_ray, float* contrast) {
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    contrast[ray] = by_ray.usable[ray] * (arc(sums, ray, core) / by_ray.near[ray] -
                                          beyond_gap(sums, ray) / by_ray.far[ray]);
  }
}

struct Directions {
  Along cosine{};
  Along sine{};
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

// Scales contrast, and beyond the knee counts it by its logarithm.
void scale_and_limit(float* value, float scale) {
  constexpr float knee = 8.0F;
  for (std::size_t ray = 0; ray < ray_count; ++ray) value[ray] *= scale;
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    const float magnitude = std::abs(value[ray]);
    if (magnitude > knee)
      value[ray] = std::copysign(knee + 2.0F * std::log(magnitude / knee), value[ray]);
  }
}

// Robust spreads of contrast at as many distances as there are lanes.
class Spreads {
 public:
  Spreads() { clear(); }
  void clear() {
    for (auto& values : magnitude_) values.fill(empty_lane());
    count_.fill(0);
  }
  void add(std::size_t lane, std::size_t channel, const float* contrast, const Along& usable) {
    std::size_t count = 0;
    for (std::size_t k = 0; k < sigma_count; ++k) {
      const std::size_t ray = k * sigma_stride;
      const bool counts = usable[ray] != 0.0F;
      magnitude_[channel][k][lane] = counts ? std::abs(contrast[ray]) : unusable;
      count += counts ? 1 : 0;
    }
    count_[lane] = count;
  }
  // To be called once all distances are in.
  void sort() {
    for (auto& values : magnitude_) sort_side_by_side(values);
  }
  // 0 where too little could be read.
  float sigma(std::size_t lane, std::size_t channel) const {
    constexpr std::size_t least_count = 10;
    if (count_[lane] < least_count) return 0.0F;
    return mad_to_sigma * magnitude_[channel][count_[lane] / 2][lane];
  }

 private:
  static constexpr float unusable = std::numeric_limits<float>::infinity();  // sorts last
  static constexpr Lanes empty_lane() {
    Lanes lanes_of{};
    lanes_of.fill(unusable);
    return lanes_of;
  }
  std::array<std::array<Lanes, sigma_count>, channel_count> magnitude_;
  std::array<std::size_t, lanes> count_{};
};

}  // namespace

RayReader::RayReader(const ContrastMap& map, const cv::Mat1b& inside) {
  cv::merge(map.value.data(), channel_count, value_);
  if (inside.empty())
    allowed_ = map.usable;
  else
    cv::bitwise_and(map.usable, inside, allowed_);
}

// Bilinear, where the pixel that the place lies in can be used.
void RayReader::read_circle(const Eigen::Vector2f& origin, float radius_px, float last,
                            Circle& circle) const {
  static const Directions directions = ray_directions();
  Along x;
  Along y;
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    x[ray] = origin.x() + radius_px * directions.cosine[ray];
    y[ray] = origin.y() - radius_px * directions.sine[ray];
  }
  const std::size_t stride = value_.step1() / channel_count;
  const std::size_t mask_stride = allowed_.step1();
  const cv::Vec<float, channel_count>* const values = value_[0];
  const uchar* const allowed = allowed_.ptr<uchar>();
  for (Along& row : circle) row.fill(0.0F);
  for (std::size_t ray = 0; ray < ray_count; ++ray) {
    if (!(x[ray] >= 0.0F && y[ray] >= 0.0F && x[ray] < last && y[ray] < last)) continue;
    const auto col = static_cast<std::size_t>(static_cast<int>(x[ray]));
    const auto row = static_cast<std::size_t>(static_cast<int>(y[ray]));
    const float fx = x[ray] - static_cast<float>(static_cast<int>(x[ray]));
    const float fy = y[ray] - static_cast<float>(static_cast<int>(y[ray]));
    const std::size_t nearest =
        (row + (fy < 0.5F ? 0U : 1U)) * mask_stride + col + (fx < 0.5F ? 0U : 1U);
    if (allowed[nearest] == 0) continue;
    const auto* const upper = values + row * stride + col;
    const auto* const lower = upper + stride;
    for (int channel = 0; channel < channel_count; ++channel)
      circle[static_cast<std::size_t>(channel)][ray] =
          (1.0F - fy) * ((1.0F - fx) * upper[0][channel] + fx * upper[1][channel]) +
          fy * ((1.0F - fx) * lower[0][channel] + fx * lower[1][channel]);
    circle[usable_row][ray] = 1.0F;
  }
}

RayMap RayReader::from(const Eigen::Vector2d& centre, const PatchGeometry& geometry,
                       const RadialGrid& grid) const {
  RayMap rays;
  for (auto& value : rays.value) value.create(grid.count, ray_count);
  rays.usable.create(grid.count, ray_count);
  const Eigen::Vector2f origin = geometry.pixel_from(centre).cast<float>();
  const auto last = static_cast<float>(geometry.size_px - 2);
  // Below this the eight-bit picture, not the scene, sets the spread.
  constexpr std::array<float, channel_count> least_sigma = {0.002F, 0.006F};
  Circle circle;
  std::array<Sums, channel_count + 1> sums;
  Neighbourhood by_ray;
  Spreads spreads;
  for (int first = 0; first < grid.count; first += static_cast<int>(lanes)) {
    const int end = std::min(grid.count, first + static_cast<int>(lanes));
    spreads.clear();
    for (int distance = first; distance < end; ++distance) {
      const auto lane = static_cast<std::size_t>(distance - first);
      read_circle(origin, static_cast<float>(grid.at(distance) * geometry.pixels_per_radius), last,
                  circle);
      add_up(circle, sums);
      count_neighbours(circle[usable_row], sums[usable_row], by_ray);
      uchar* usable = rays.usable.ptr<uchar>(distance);
      for (std::size_t ray = 0; ray < ray_count; ++ray)
        usable[ray] = by_ray.usable[ray] != 0.0F ? 1 : 0;
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        auto* const contrast = rays.value[channel].ptr<float>(distance);
        compare(sums[channel], by_ray, contrast);
        spreads.add(lane, channel, contrast, by_ray.usable);
      }
    }
    spreads.sort();
    for (int distance = first; distance < end; ++distance) {
      for (std::size_t channel = 0; channel < channel_count; ++channel)
        scale_and_limit(
            rays.value[channel].ptr<float>(distance),
            1.0F / std::max(least_sigma[channel],
                            spreads.sigma(static_cast<std::size_t>(distance - first), channel)));
    }
  }
  return rays;
}

RayMap ray_map(const ContrastMap& map, const cv::Mat1b& inside, const PatchGeometry& geometry,
               const Eigen::Vector2d& centre, const RadialGrid& grid) {
  return RayReader(map, inside).from(centre, geometry, grid);
}

}  // namespace rhumb::lens
