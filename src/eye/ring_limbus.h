// The limbus in the averaged ring.
#pragma once

#include <opencv2/core.hpp>

#include "eye/atlas.h"
#include "eye/ring.h"

namespace rhumb::eye {

// ring: CV_32FC1 grey levels on the shape's grid. The limbus is the middle of the transition from
// the dark inside to the bright outside: in each direction the radius at which a soft step fits
// best, then an ellipse by robust least squares. A unit circle with arc_share 0 when there is no
// step.
LimbusInAtlas find_ring_limbus(const cv::Mat& ring, const RingShape& shape);

}  // namespace rhumb::eye
