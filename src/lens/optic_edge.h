// The edge of a lens's optic in the pupil.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>

#include "lens/patch.h"

namespace rhumb::lens {

// A circle on which the edge may lie. `share` and `room` are shares of its directions.
struct OpticEdge {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // atlas
  double radius = 0.0;                               // limbal radii
  double share = 0.0;  // in which a thin line shows, lighter than both of its sides (or darker)
  double room = 0.0;   // in which one could be seen: in the pupil, and nothing over it
};

// Of the circles whose radius is within 8 % of `expected_radius` (limbal radii, as seen through the
// cornea) and whose centre lies within 0.1 of the eye's, the one on which the most of a thin line
// shows. luma: the average of a stretch of straightened pupils. usable: 255 where neither
// glare nor the picture's border is. inside: 255 in the pupil; empty: its edge was not found, and
// all is.
OpticEdge find_optic_edge(const cv::Mat1f& luma, const cv::Mat1b& usable, const cv::Mat1b& inside,
                          const PatchGeometry& geometry, double expected_radius);

}  // namespace rhumb::lens
