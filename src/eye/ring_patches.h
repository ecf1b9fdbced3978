// Inside of the ring match: the unrolled ring, its contrast, and small patches found again in
// another ring.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <vector>

#include "eye/ring_match.h"

namespace rhumb::eye::ring_patches {

inline constexpr int columns = 1440;                // a quarter of a degree each
inline constexpr double cell = 0.004363323;         // limbal radii a row, and radians a column
inline constexpr double inner = 0.74;               // limbal radii of the first row
inline constexpr int rows = 192;                    // up to 1.58 limbal radii
inline constexpr int sectors = ring_match_sectors;  // of 60 columns
inline constexpr int bands = 4;                     // of 48 rows

// Second picture's place, in limbal radii: offset + linear * (p + parallax * depth(|p|)).
struct Map {
  Eigen::Matrix2d linear = Eigen::Matrix2d::Identity();
  Eigen::Vector2d offset = Eigen::Vector2d::Zero();
  Eigen::Vector2d parallax = Eigen::Vector2d::Zero();
};

// Depth of the eye's surface at a radius, limbal radii towards the observer from the limbal plane:
// the globe behind the limbus (radius 11.8 mm over a limbal radius of 5.85 mm), the iris as seen
// through the cornea in the plane.
double depth_at(double radius);

// Contrast (CV_32FC1) and whether it can be used (CV_8UC1), with `margin` cells more on every side;
// column margin + i lies at i cells counter-clockwise.
struct Unrolled {
  cv::Mat contrast;
  cv::Mat usable;
  int margin = 0;
};
Unrolled unroll(const RingView& view, const Map& map, int margin);

struct Patch {
  int sector = 0;
  bool textured = false;                            // found with some certainty, somewhere
  double likeness = 0.0;                            // normalised correlation where it was found
  Eigen::Vector2d place = Eigen::Vector2d::Zero();  // its middle, limbal radii, x right, y up
  double depth = 0.0;
  Eigen::Vector2d shift =
      Eigen::Vector2d::Zero();  // where it was found against where it was expected, limbal radii
  Eigen::Matrix2d covariance = Eigen::Matrix2d::Identity();  // of the shift
  double window_area = 1.0;                                  // limbal radii squared
};

// Looks for patches of `first` (margin >= 0) in `second` within `reach` cells (second.margin >=
// reach + 1).
std::vector<Patch> find_patches(const Unrolled& first, const Unrolled& second, int reach);

// Rotations of the second against the first at which block-wise correlation peaks, best first.
std::vector<double> coarse_turns(const Unrolled& first, const Unrolled& second, double limit_rad,
                                 int most);

}  // namespace rhumb::eye::ring_patches
