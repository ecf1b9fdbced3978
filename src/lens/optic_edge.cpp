#include "lens/optic_edge.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace rhumb::lens {
namespace {

constexpr int directions = 90;
constexpr double least_radius = 0.34, radius_step = 0.006;
constexpr int radii = 58;      // up to the patch's border
constexpr int side_steps = 4;  // to either side, 0.024 limbal radii: more than an edge is wide
// A circle this near to the middle of a line runs along it: the search's own step.
constexpr int near_steps = 1;
// An edge stands out by so much of its surroundings' luma. Faint ones did by two to five
// hundredths.
constexpr float least_excess = 0.015F;
constexpr double farthest_centre = 0.1, centre_step = 0.01;  // limbal radii
constexpr double size_tolerance = 0.08;
constexpr double largest_radius = 0.66;
constexpr int most_other_circles = 2;
constexpr double worth_a_doubt = 0.2;  // less of a circle is no optic anyway

enum class Spot : std::uint8_t { Hidden, Plain, Light, Dark };
// By direction and distance from the eye's centre.
using Spots = std::array<std::array<Spot, radii>, directions>;

// Luma, and whether it is shown, by direction and distance from the eye's centre.
struct Rays {
  cv::Mat1f value;
  cv::Mat1b shown;
};

Eigen::Vector2d towards(int direction) {
  const double angle = 2.0 * std::numbers::pi * direction / directions;
  return {std::cos(angle), std::sin(angle)};
}

Rays read_rays(const cv::Mat1f& luma, const cv::Mat1b& seen, const PatchGeometry& geometry) {
  cv::Mat1f x(directions, radii), y(directions, radii);
  for (int d = 0; d < directions; ++d) {
    for (int r = 0; r < radii; ++r) {
      const Eigen::Vector2d at = geometry.pixel_from((least_radius + radius_step * r) * towards(d));
      x(d, r) = static_cast<float>(at.x());
      y(d, r) = static_cast<float>(at.y());
    }
  }
  Rays rays;
  cv::Mat1f smooth;
  cv::GaussianBlur(luma, smooth, {}, 1.0);
  cv::remap(smooth, rays.value, x, y, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
  cv::remap(seen, rays.shown, x, y, cv::INTER_NEAREST, cv::BORDER_CONSTANT);
  return rays;
}

// Plain where no line runs across this ray here; Light or Dark on the middle of one.
Spot line_at(const Rays& rays, int d, int r) {
  const int in = r - side_steps, out = r + side_steps;
  if (!rays.shown(d, in) || !rays.shown(d, r) || !rays.shown(d, out)) return Spot::Hidden;
  const cv::Mat1f& value = rays.value;
  const float lower = std::min(value(d, in), value(d, out));
  const float higher = std::max(value(d, in), value(d, out));
  const float least = least_excess * std::max(1.0F, 0.5F * (lower + higher));
  const float here = value(d, r), before = value(d, r - 1), after = value(d, r + 1);
  if (here > higher + least && here >= before && here > after) return Spot::Light;
  if (here < lower - least && here <= before && here < after) return Spot::Dark;
  return Spot::Plain;
}

// A lens's own radial direction is off by ten degrees at most from the eye's.
Spots spots_of(const Rays& rays) {
  Spots spots{};
  for (int d = 0; d < directions; ++d) {
    auto& ray = spots[static_cast<std::size_t>(d)];
    std::array<Spot, radii> middles{};
    for (int r = side_steps; r < radii - side_steps; ++r)
      middles[static_cast<std::size_t>(r)] = line_at(rays, d, r);
    ray = middles;
    for (int r = side_steps; r < radii - side_steps; ++r) {
      const Spot middle = middles[static_cast<std::size_t>(r)];
      if (middle != Spot::Light && middle != Spot::Dark) continue;
      for (int near = r - near_steps; near <= r + near_steps; ++near) {
        Spot& spot = ray[static_cast<std::size_t>(near)];
        if (spot != Spot::Hidden) spot = middle;
      }
    }
  }
  return spots;
}

class Circles {
 public:
  explicit Circles(const Spots& spots) : spots_(spots) {
    for (int d = 0; d < directions; ++d) towards_[static_cast<std::size_t>(d)] = towards(d);
  }

  OpticEdge at(const Eigen::Vector2d& centre, double radius) const {
    int light = 0, dark = 0, seen = 0;
    for (std::size_t d = 0; d < directions; ++d) {
      const int r = step_of(centre, radius, d);
      if (r < 0 || r >= radii) continue;
      const Spot spot = spots_[d][static_cast<std::size_t>(r)];
      light += spot == Spot::Light ? 1 : 0;
      dark += spot == Spot::Dark ? 1 : 0;
      seen += spot == Spot::Hidden ? 0 : 1;
    }
    return {centre, radius, static_cast<double>(std::max(light, dark)) / directions,
            static_cast<double>(seen) / directions};
  }

  // The circle on which the most of a line shows, of radii between these.
  OpticEdge best(double least, double most) const {
    const auto reach = static_cast<int>(std::lround(farthest_centre / centre_step));
    OpticEdge best;
    for (int i = -reach; i <= reach; ++i) {
      for (int j = -reach; j <= reach; ++j) {
        const Eigen::Vector2d centre(centre_step * i, centre_step * j);
        if (centre.norm() > farthest_centre + 1e-9) continue;
        for (double radius = least; radius <= most; radius += radius_step) {
          const OpticEdge circle = at(centre, radius);
          if (circle.share > best.share || best.radius == 0.0) best = circle;
        }
      }
    }
    return best;
  }

  // Takes away the lines that run along it.
  void take_away(const OpticEdge& circle) {
    for (std::size_t d = 0; d < directions; ++d) {
      const int middle = step_of(circle.centre, circle.radius, d);
      for (int r = std::max(0, middle - side_steps); r <= std::min(radii - 1, middle + side_steps);
           ++r) {
        Spot& spot = spots_[d][static_cast<std::size_t>(r)];
        if (spot != Spot::Hidden) spot = Spot::Plain;
      }
    }
  }

 private:
  int step_of(const Eigen::Vector2d& centre, double radius, std::size_t d) const {
    const double along = centre.dot(towards_[d]);
    const double across_squared = centre.squaredNorm() - along * along;
    const double distance = along + std::sqrt(radius * radius - across_squared);
    return static_cast<int>(std::floor((distance - least_radius) / radius_step + 0.5));
  }

  Spots spots_;
  std::array<Eigen::Vector2d, directions> towards_;
};

}  // namespace

OpticEdge find_optic_edge(const cv::Mat1f& luma, const cv::Mat1b& usable, const cv::Mat1b& inside,
                          const PatchGeometry& geometry, double expected_radius) {
  const cv::Mat1b seen = inside.empty() ? usable : cv::Mat1b(usable & inside);
  Circles circles(spots_of(read_rays(luma, seen, geometry)));
  const double least = (1.0 - size_tolerance) * expected_radius;
  const double most = (1.0 + size_tolerance) * expected_radius;
  OpticEdge optic = circles.best(least, most);
  // A circle of another size on which more shows, as the rhexis's, touches some of the optic's
  // size.
  for (int other = 0; other < most_other_circles && optic.share >= worth_a_doubt; ++other) {
    const OpticEdge any = circles.best(least_radius + farthest_centre, largest_radius);
    if (any.radius >= least && any.radius <= most) break;
    circles.take_away(any);
    optic = circles.best(least, most);
  }
  return optic;
}

}  // namespace rhumb::lens
