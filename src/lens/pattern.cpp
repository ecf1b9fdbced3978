#include "lens/pattern.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::lens {

RadialProfile uninformed_profile(double optic_radius) {
  RadialProfile profile;
  for (double r = profile.first; r < 0.68; r += profile.step) {
    const double share = r / optic_radius;
    profile.weight.push_back(share > 0.55 && share < 0.97 ? 1.0F : 0.0F);
  }
  return profile;
}

Rays read_rays(const DarkMap& map, const PatchGeometry& geometry, const Eigen::Vector2d& centre,
               const RadialProfile& profile) {
  Rays rays;
  const Eigen::Vector2d origin = geometry.pixel_from(centre);
  const double ppr = geometry.pixels_per_radius;
  for (int ray = 0; ray < ray_count; ++ray) {
    const double phi = angle::rad_from_deg(ray);
    const double cos_phi = std::cos(phi) * ppr;
    const double sin_phi = -std::sin(phi) * ppr;
    float sum = 0.0F;
    float squares = 0.0F;
    float all_squares = 0.0F;
    double distance = profile.first;
    for (const float weight : profile.weight) {
      const float square = weight * weight;
      all_squares += square;
      const int col = static_cast<int>(origin.x() + cos_phi * distance + 0.5);
      const int row = static_cast<int>(origin.y() + sin_phi * distance + 0.5);
      distance += profile.step;
      if (square <= 0.0F || col < 0 || row < 0 || col >= map.usable.cols || row >= map.usable.rows) continue;
      if (!map.usable(row, col)) continue;
      sum += weight * std::clamp(map.response(row, col), -4.0F, 8.0F);
      squares += square;
    }
    const auto index = static_cast<std::size_t>(ray);
    rays.usable[index] = all_squares > 0.0F ? squares / all_squares : 0.0F;
    rays.score[index] = rays.usable[index] > 0.3F ? sum / std::sqrt(squares) : 0.0F;
  }
  return rays;
}

}  // namespace rhumb::lens
