// A painted plane: four channels of light or density on a grid in millimetres.
#pragma once

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <vector>

namespace rhumb::render {

// Four floats that are added and multiplied together.
using Vec4 = float __attribute__((vector_size(16)));

inline Vec4 vec(float r, float g, float b) { return Vec4{r, g, b, 0.0F}; }
inline Vec4 all(float v) { return Vec4{v, v, v, v}; }
inline Vec4 within(Vec4 v, float low, float high) {
  v = v < low ? all(low) : v;
  return v > high ? all(high) : v;
}
inline float least(Vec4 v) { return std::min(std::min(v[0], v[1]), std::min(v[2], v[3])); }
inline Vec4 root(Vec4 v) {
  for (int k = 0; k < 4; ++k) v[k] = std::sqrt(v[k]);
  return v;
}
inline Vec4 smoothstep(Vec4 x) {
  const Vec4 f = within(x, 0.0F, 1.0F);
  return f * f * (3.0F - 2.0F * f);
}

class Texture {
 public:
  Texture() = default;
  // Covers the rectangle of width_mm x height_mm round the origin at per_mm texels a millimetre;
  // cleared.
  Texture(double width_mm, double height_mm, double per_mm);

  int width() const { return width_; }
  int height() const { return height_; }
  float per_mm() const { return per_mm_; }
  double x_mm(int column) const { return (column - double{x0_}) / double{per_mm_}; }
  double y_mm(int row) const { return (row - double{y0_}) / double{per_mm_}; }
  double column(double x) const { return x * double{per_mm_} + double{x0_}; }
  double row(double y) const { return y * double{per_mm_} + double{y0_}; }
  Vec4& texel(int row, int column) {
    return data_[static_cast<std::size_t>(row) * width_ + column];
  }
  Vec4 texel(int row, int column) const {
    return data_[static_cast<std::size_t>(row) * width_ + column];
  }
  // Sets channel k from a CV_32FC1 picture of the texture's own size.
  void set_channel(int k, const cv::Mat& plane);

  // Bilinear; outside it repeats its edge.
  Vec4 at(float x, float y) const {
    const float fx = std::clamp(x * per_mm_ + x0_, 0.0F, static_cast<float>(width_) - 1.001F);
    const float fy = std::clamp(y * per_mm_ + y0_, 0.0F, static_cast<float>(height_) - 1.001F);
    const int ix = static_cast<int>(fx);
    const int iy = static_cast<int>(fy);
    const Vec4* p = data_.data() + static_cast<std::ptrdiff_t>(iy) * width_ + ix;
    const Vec4 u = all(fx - static_cast<float>(ix));
    const Vec4 v = all(fy - static_cast<float>(iy));
    const Vec4 upper = p[0] + (p[1] - p[0]) * u;
    const Vec4 lower = p[width_] + (p[width_ + 1] - p[width_]) * u;
    return upper + (lower - upper) * v;
  }

 private:
  int width_ = 0;
  int height_ = 0;
  float per_mm_ = 1.0F;
  float x0_ = 0.0F;
  float y0_ = 0.0F;
  std::vector<Vec4> data_;
};

// Clouds in about [-1, 1] (standard deviation about 0.35): octaves of random heights with cells of
// cell_x x cell_y texels, each octave half the size and `fall` of the height of the one before.
struct CloudShape {
  double cell_x = 64.0;
  double cell_y = 64.0;
  int octaves = 4;
  double fall = 0.55;
  bool wraps_x = false;  // the right edge goes on at the left one
};
cv::Mat cloud(cv::Size size, const CloudShape& shape, std::uint64_t key);

struct Point {
  double x = 0.0;
  double y = 0.0;
};

// Adds a soft-edged line to a CV_32FC1 map (maximum of old and new): points in texels, half-widths
// in texels point by point. The profile is that of a round tube, so a vessel's middle is darkest.
void paint_tube(cv::Mat& map, const std::vector<Point>& points,
                const std::vector<double>& half_widths, double strength);

}  // namespace rhumb::render
