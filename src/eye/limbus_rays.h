// Inside of the limbus search: small colour pictures, their log-polar form about an ellipse, and
// the steps of luma and chroma along its rays. Used by the limbus search only.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "eye/pose.h"

namespace rhumb::eye::limbus_fit {

// A reduced picture: CV_8UC3 (luma, cb, cr). point_in_picture = factor * point_here + (factor - 1)
// / 2 + origin.
struct SmallPicture {
  cv::Mat pixels;
  int factor = 1;
  cv::Point origin;
  Eigen::Vector2d to_small(const Eigen::Vector2d& p) const;
  Eigen::Vector2d to_picture(const Eigen::Vector2d& p) const;
};

// Reduces the part `area` of the picture by a whole factor, averaging. Chroma may be empty (taken
// as grey).
SmallPicture reduce(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr, cv::Rect area,
                    int factor);

// The picture around an ellipse, sector by sector: column i lies at exp(log_from + i * log_step)
// times the ellipse.
struct Unwrapped {
  int sectors = 0;
  int columns = 0;
  double log_from = 0.0;
  double log_step = 0.0;
  std::vector<std::array<float, 3>> value;  // [sector * columns + column]: luma, cb - 128, cr - 128
  std::vector<int> first_outside;  // by sector: first column whose samples leave the picture
};

// `around` in the small picture's own pixels. Averages `per_sector` rays a sector.
Unwrapped unwrap(const SmallPicture& small, const LimbusEllipse& around, int sectors,
                 int per_sector, double log_from, double log_to, double log_step);

// Difference of the means over `half` columns outside and inside of each column, in three channels
// made comparable between bright and dark sectors: luma and chroma over the sector's own brightness
// there (`linear`), or log luma and chroma over luma point by point. Columns without both sides
// hold zero and are not `valid`.
struct Steps {
  int sectors = 0;
  int columns = 0;
  std::vector<std::array<float, 3>> step;
  std::vector<float> plain;  // luma's step without the slope taken off
  std::vector<char> valid;
};
Steps steps_of(const Unwrapped& polar, int half, bool linear);

// Robust centre and scatter over the sectors of the steps at one column (or at one column a
// sector).
struct RingStep {
  std::array<double, 3> middle{};
  std::array<double, 3> scatter{};
  int sectors = 0;
  double contrast() const;  // length of middle / scatter
};
RingStep ring_step(const Steps& steps, const std::vector<int>& column_of_sector);

// Radius of the ellipse in direction (c, s) from its centre.
double radius_towards(const LimbusEllipse& e, double c, double s);

// Chroma over luma, middle over the sectors of the means of `half` columns from `first` on.
std::array<double, 2> colour_of(const Unwrapped& polar, int first, int half);

}  // namespace rhumb::eye::limbus_fit
