#include "eye/limbus_choice.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rhumb::eye::limbus_fit {
namespace {

// Brightening that shading does not explain. Beside a bright pupil the slope taken off makes a step
// where there is none; the plain one bounds it.
double brightening(const Fit& fit) {
  return std::min(fit.luma_step, std::max(fit.plain_step, 0.0) + 0.06);
}

// A pupil lies up to half a millimetre beside the limbus's centre, and 3 mm behind it, which a tilt
// of 10 degrees shifts by as much again: common practice, no source.
bool nested(const Fit& outer, const Fit& inner) {
  constexpr double most_apart = 0.2;  // of the outer radius
  const double radius = outer.ellipse.mean_radius_px();
  return (outer.ellipse.centre_px - inner.ellipse.centre_px).norm() < most_apart * radius &&
         radius > 1.1 * inner.ellipse.mean_radius_px();
}

double apart(const std::array<double, 2>& a, const std::array<double, 2>& b) {
  return std::hypot(a[0] - b[0], a[1] - b[1]);
}

// Whether the red glow still fills this ring: by colour its inside is much nearer than its outside
// to the inside of the smallest ring in it. That of a brown iris lies between glow and sclera.
bool glows(const Fit& ring, const std::vector<Fit>& fits, double least_arc) {
  constexpr double nearer = 0.3;
  const Fit* innermost = nullptr;
  for (const Fit& fit : fits) {
    if (fit.ellipse.arc_share < std::max(0.5, least_arc) || !nested(ring, fit)) continue;
    if (!innermost || fit.ellipse.mean_radius_px() < innermost->ellipse.mean_radius_px())
      innermost = &fit;
  }
  return innermost && apart(ring.colour_inside, innermost->colour_inside) <
                          nearer * apart(ring.colour_outside, innermost->colour_inside);
}

}  // namespace

double worth(const Fit& fit) {
  return fit.ellipse.arc_share * std::min(5.0, fit.contrast) *
         std::clamp(brightening(fit) / 0.04, 0.25, 1.0);
}

const Fit* pupil_of(const Fit& limbus, const std::vector<Fit>& fits) {
  constexpr double most_of_it = 0.7;  // of a ring's circumference
  const Fit* best = nullptr;
  for (const Fit& fit : fits) {
    if (fit.ellipse.arc_share < most_of_it || !nested(limbus, fit)) continue;
    if (!best || worth(fit) > worth(*best)) best = &fit;
  }
  return best;
}

const Fit* choose(const std::vector<Fit>& fits, double least_arc) {
  const Fit* best = nullptr;
  for (const Fit& fit : fits)
    if (fit.ellipse.arc_share >= least_arc && (!best || worth(fit) > worth(*best))) best = &fit;
  if (!best) return nullptr;
  // From pupil or collarette outwards, ring by ring. Beyond the second ring there is only sclera
  // and lid, whose shading never steps like the limbus does; but the limbus is yet to come while
  // the glow fills the ring, also where part of it lies outside the picture.
  const Fit* outer = best;
  for (bool first = true;; first = false) {
    const bool within_glow = glows(*outer, fits, least_arc);
    const Fit* next = nullptr;
    for (const Fit& fit : fits) {
      const double seen = within_glow ? std::max(0.5, fit.visible_share) : 1.0;
      if (!nested(fit, *outer) || fit.ellipse.arc_share < std::max(0.35 * seen, least_arc) ||
          worth(fit) < (first || within_glow ? 0.2 : 0.3) * worth(*best) * seen)
        continue;
      const double darkest = first || within_glow ? 0.02 : 0.6 * brightening(*outer);
      if (brightening(fit) < darkest && fit.ellipse.arc_share < 0.55) continue;
      if (!first && brightening(fit) < darkest) continue;
      if (!next || worth(fit) > worth(*next)) next = &fit;
    }
    if (!next) break;
    outer = next;
  }
  return outer;
}

}  // namespace rhumb::eye::limbus_fit
