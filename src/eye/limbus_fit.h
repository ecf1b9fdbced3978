// Inside of the limbus search: small colour pictures, their log-polar form about an ellipse, and
// the robust fit of an ellipse to the steps in it. Used by limbus.cpp only.
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

// One round: unwraps about `near`, looks for the step within `window` (log radius) and fits the
// ellipse.
Fit fit_round(const SmallPicture& small, const LimbusEllipse& near, double window,
              double half_width, bool linear, double chroma_trust);

// Where luma's step lies in the mean over all sectors, as log radius against the ellipse; 0 where
// there is no clear one within `window`. Iris texture and vessels, which shift the edge of single
// sectors, average out.
double middle_of_ring(const SmallPicture& small, const LimbusEllipse& ellipse, double window,
                      double half_width);

}  // namespace rhumb::eye::limbus_fit
