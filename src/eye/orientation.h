// How the recorder shows an upright eye: the constant part of every pose.
#pragma once

#include <Eigen/Core>

#include "casefile/case.h"

namespace rhumb::eye {

// picture_from_atlas of an eye of limbal radius one pixel that is not turned: atlas x right and y
// up (towards the patient's forehead) go to picture x right and y down as `superior` and `mirrored`
// say. `superior` describes the picture as recorded; `mirrored` says that the recorder flipped it
// left to right.
inline Eigen::Matrix2d picture_from_upright(casefile::Superior superior, bool mirrored) {
  Eigen::Vector2d up(0.0, -1.0);
  switch (superior) {
    case casefile::Superior::Top:
      break;
    case casefile::Superior::Bottom:
      up = {0.0, 1.0};
      break;
    case casefile::Superior::Left:
      up = {-1.0, 0.0};
      break;
    case casefile::Superior::Right:
      up = {1.0, 0.0};
      break;
  }
  // Seen from the front, x is `up` turned clockwise by a quarter; in a mirrored picture it is the
  // other way.
  const Eigen::Vector2d right(-up.y(), up.x());
  Eigen::Matrix2d picture;
  picture << (mirrored ? -right : right), up;
  return picture;
}

}  // namespace rhumb::eye
