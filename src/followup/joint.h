// One consistent set of rotations and tilts for all photographs of an eye, from the pairs that
// could be registered.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "eye/ring_match.h"

namespace rhumb::followup {

struct Pair {
  int first = 0;  // photographs
  int second = 0;
  eye::RingMatch match;
  bool outlier = false;  // accepted by itself, but at odds with the others
  double residual_rad = 0.0;
};

// How photograph v shows the eye: picture direction = R(rotation) (I + S) eye direction, S = [[a,
// b], [b, -a]]. The eye's frame is that of the first photograph of the component; its mean S is
// zero within `shear_sd`.
struct JointSolution {
  std::vector<char> connected;         // to the largest component
  std::vector<double> rotation_rad;    // counter-clockwise; 0 for `base`
  std::vector<Eigen::Vector2d> shear;  // (a, b)
  Eigen::MatrixXd covariance;          // of rotation, a, b of each photograph in turn
  int base = -1;                       // the photograph whose rotation is zero

  // Direction in the eye of a direction in photograph v, and how it answers to (rotation, a, b) of
  // v.
  double eye_direction(int v, double picture_rad) const;
  Eigen::Vector3d jacobian(int v, double picture_rad) const;
};

struct JointOptions {
  double shear_sd = 0.005;    // tilt of 8 degrees: (1 - cos t) / 2
  double floor_rad = 0.0004;  // 0.02 degrees: what no pair is better than
};

// Iteratively reweighted least squares over the accepted pairs; a pair off by more than four times
// what it promises is an outlier and gets no say. `photographs`: how many there are.
JointSolution solve_jointly(int photographs, std::vector<Pair>& pairs,
                            const JointOptions& options = {});

}  // namespace rhumb::followup
