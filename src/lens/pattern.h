// The marks as a pattern: two ends on one line through the lens centre, dark, at the same distances.
//
// A patch's dark map is read along rays from a supposed lens centre. What one ray (an "end") says is one number:
// the weighted sum of the responses along it, in units of its own standard deviation. The two ends of an axis
// are the rays at theta and theta + pi.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "lens/dark_map.h"

namespace rhumb::lens {

inline constexpr int ray_count = 360;        // one a degree, counter-clockwise from atlas x
inline constexpr int axis_count = ray_count / 2;

// How much each distance from the lens centre counts; `first` and `step` in limbal radii.
struct RadialProfile {
  double first = 0.26;
  double step = 0.02;
  std::vector<float> weight;  // by distance
};

// Before anything is known of the marks: anywhere in the outer half of an optic of this radius (atlas units).
RadialProfile uninformed_profile(double optic_radius);

struct Rays {
  std::array<float, ray_count> score{};   // z-score; 0 where not readable
  std::array<float, ray_count> usable{};  // share of the profile's weight that can be read, 0..1
};

// The rays from one centre (atlas units). Cost: ray_count times the profile's length.
Rays read_rays(const DarkMap& map, const PatchGeometry& geometry, const Eigen::Vector2d& centre,
               const RadialProfile& profile);

}  // namespace rhumb::lens
