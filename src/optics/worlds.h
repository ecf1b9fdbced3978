// What an eye may really be like, given what is stated of it: a set of draws, the first of which is
// the stated eye itself. Every number of the effect is computed in each of them.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "optics/double_angle.h"
#include "optics/estimate.h"
#include "optics/power.h"
#include "optics/stated.h"
#include "optics/vergence.h"

namespace rhumb::optics {

// One eye that is in keeping with the statements. Powers at the corneal plane.
struct World {
  double marks_axis_rad = 0.0;
  LensPlane plane;
  double lens_D = 0.0;     // what the lens's cylinder does at the corneal plane
  PowerVector cornea;      // 0 where no keratometry is stated
  PowerVector correction;  // the refraction; 0 where none is stated
};

// A refraction as a power vector at the corneal plane.
PowerVector corneal_correction(const Refraction& refraction);
// M, J0 and J45 of a refraction whose sphere and cylinder each have a standard error: the
// cylinder's counts half in each of them, and as much across its axis as along it.
std::array<Uncertain, 3> uncertain_power(const PowerVector& power, double se_D);
// A keratometry as a power vector.
PowerVector corneal_power(const Keratometry& keratometry);

// The first world is the stated one. lens_cylinder_D: lens plane.
std::vector<World> worlds_of(const StatedEye& eye, double lens_cylinder_D,
                             const Estimate& marks_axis_rad);

// What had to be assumed because it is not stated, and what is left out, a sentence each.
std::vector<std::string> assumptions_of(const StatedEye& eye, double marks_axis_rad);

// A value computed in every world. of(world) gives a number, an axis in radians, or a power vector.
template <class Of>
Estimate estimate(const std::vector<World>& worlds, Of of) {
  std::vector<double> results;
  results.reserve(worlds.size());
  for (const World& world : worlds) results.push_back(of(world));
  return summarise(results);
}

template <class Of>
Estimate estimate_axis(const std::vector<World>& worlds, Of of) {
  std::vector<double> results;
  results.reserve(worlds.size());
  for (const World& world : worlds) results.push_back(of(world));
  return summarise_axes(results);
}

// The 95 % ellipse of J0 and J45 about the first world's.
template <class Of>
PlotEllipse ellipse_of(const std::vector<World>& worlds, Of of) {
  const PowerVector centre = of(worlds.front());
  PlaneCovariance covariance;
  const auto n = static_cast<double>(worlds.size() > 1 ? worlds.size() - 1 : 1);
  for (const World& world : worlds) {
    const PowerVector away = of(world) - centre;
    covariance.xx += away.j0_D * away.j0_D / n;
    covariance.xy += away.j0_D * away.j45_D / n;
    covariance.yy += away.j45_D * away.j45_D / n;
  }
  return ellipse_from(covariance);
}

}  // namespace rhumb::optics
