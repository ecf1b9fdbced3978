// The ring about the limbus as a grid, read out of a picture under a pose, and made independent of
// the light.
#pragma once

#include <Eigen/LU>
#include <array>
#include <cmath>
#include <opencv2/core.hpp>
#include <vector>

namespace rhumb::eye {

// A point p of the ring at depth z (limbal radii towards the observer from the limbal plane) is
// seen at offset + linear * (p + parallax * z): the affine view of a solid eye.
struct RingPose {
  Eigen::Vector2d offset_px = Eigen::Vector2d::Zero();
  Eigen::Matrix2d linear = Eigen::Matrix2d::Identity();
  Eigen::Vector2d parallax = Eigen::Vector2d::Zero();
  double scale() const { return std::sqrt(std::abs(linear.determinant())); }
};

// A polar grid: rows are radii, columns are meridians from 0, counter-clockwise.
struct RingShape {
  int meridians = 0;
  int rows = 0;
  std::vector<float> radius;  // limbal radii, one a row
  std::vector<float> depth;   // limbal radii, one a row
  std::vector<float> cosine;  // one a column
  std::vector<float> sine;
  std::size_t size() const { return static_cast<std::size_t>(meridians) * rows; }
};

// globe_radius in limbal radii. The sclera falls away on its sphere; inside the limbus the iris is
// taken to appear in the limbal plane: 0.5 mm behind it, lifted as much by the refracting cornea.
RingShape make_ring_shape(int meridians, int rows, double inner, double outer, double globe_radius);

// The picture at full, half, quarter ... size (means of 2x2) about the eye. Buffers are kept
// between calls.
class PictureLevels {
 public:
  static constexpr int most_levels = 6;
  // Prepares levels 0..top around a circle; level 0 is a view.
  void prepare(const cv::Mat& plane, const Eigen::Vector2d& centre_px, double radius_px, int top);
  // Reads the ring: value is 0 and mask 0 where the picture has no pixel. Both hold shape.size()
  // floats. Returns the number of points outside the picture.
  int read(int level, const RingShape& shape, const RingPose& pose, float* value, float* mask);

 private:
  cv::Rect region_;
  std::array<cv::Mat, most_levels> level_;
  std::vector<float> px_, py_;
  std::vector<int> place_;
};

// Contrast of each point against its surroundings, relative to their brightness: independent of the
// light's level and of its slow fall-off. Reuses its buffers.
class RingNormaliser {
 public:
  // value, mask: as read; contrast: out. `outside` as read() returned it: 0 lets the mask be
  // skipped.
  // keep_surround: the surroundings of the call before serve again (the pose moved by a pixel or
  // less since then).
  void normalise(const RingShape& shape, const float* value, const float* mask, int outside,
                 float* contrast, bool keep_surround = false);

 private:
  void box_mean(const RingShape& shape, const float* in, float* out);
  std::vector<float> mean_, per_mean_, share_, column_, row_;
};

}  // namespace rhumb::eye
