// Inside of the limbus search: the robust fit of an ellipse to the steps about it. Used by
// the limbus search only.
#pragma once

#include <array>
#include <optional>

#include "eye/limbus_rays.h"

namespace rhumb::eye::limbus_fit {

struct Fit {
  bool good = false;
  LimbusEllipse ellipse;       // in the small picture's pixels; arc_share filled in
  double visible_share = 0.0;  // share of sectors inside the picture
  double contrast = 0.0;
  double luma_step = 0.0;   // relative, slope taken off
  double plain_step = 0.0;  // relative, as it is
  double edge_noise = 0.0;
  // Middle of the sectors' chroma over luma a little inside and a little outside.
  std::array<double, 2> colour_inside{};
  std::array<double, 2> colour_outside{};
};

// Where a ring's centre is expected, in the small picture's pixels.
struct ExpectedCentre {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  double sd = 1.0;  // of either component, in radii of the ring
};

// One round: unwraps about `near`, looks for the step within `window` (log radius) and fits the
// ellipse.
Fit fit_round(const SmallPicture& small, const LimbusEllipse& near, double window,
              double half_width, bool linear, double chroma_trust,
              const std::optional<ExpectedCentre>& expected = std::nullopt);

// Where luma's step lies in the mean over all sectors, as log radius against the ellipse; 0 where
// there is no clear one within `window`. Iris texture and vessels, which shift the edge of single
// sectors, average out.
double middle_of_ring(const SmallPicture& small, const LimbusEllipse& ellipse, double window,
                      double half_width);

}  // namespace rhumb::eye::limbus_fit
