#include "eye/ring.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace rhumb::eye {

namespace {

// Half sizes of the surroundings that a point is compared with: 10 degrees, a seventh of the limbal
// radius. Wider than vessels and iris fibres, narrower than shadows and the fall-off of the light.
constexpr double surround_rad = 10.0 * std::numbers::pi / 180.0;
constexpr double surround_radius = 0.15;
// Grey levels added to the surroundings' brightness: below it, noise would be blown up.
constexpr float dark_floor = 12.0F;

}  // namespace

RingShape make_ring_shape(int meridians, int rows, double inner, double outer,
                          double globe_radius) {
  RingShape shape;
  shape.meridians = meridians;
  shape.rows = rows;
  const double at_limbus = std::sqrt(std::max(0.0, globe_radius * globe_radius - 1.0));
  for (int k = 0; k < rows; ++k) {
    const double r = inner + (outer - inner) * k / (rows - 1);
    const double z =
        r <= 1.0 ? 0.0 : std::sqrt(std::max(0.0, globe_radius * globe_radius - r * r)) - at_limbus;
    shape.radius.push_back(static_cast<float>(r));
    shape.depth.push_back(static_cast<float>(z));
  }
  for (int i = 0; i < meridians; ++i) {
    const double m = 2.0 * std::numbers::pi * i / meridians;
    shape.cosine.push_back(static_cast<float>(std::cos(m)));
    shape.sine.push_back(static_cast<float>(std::sin(m)));
  }
  return shape;
}

void PictureLevels::prepare(const cv::Mat& plane, const Eigen::Vector2d& centre_px,
                            double radius_px, int top) {
  constexpr int step = 1 << (most_levels - 1);
  const auto down = [](double v) { return static_cast<int>(std::floor(v / step)) * step; };
  int x0 = std::clamp(down(centre_px.x() - radius_px), 0, plane.cols - 1);
  int y0 = std::clamp(down(centre_px.y() - radius_px), 0, plane.rows - 1);
  const int x1 = std::clamp(down(centre_px.x() + radius_px) + step, x0 + 1, plane.cols);
  const int y1 = std::clamp(down(centre_px.y() + radius_px) + step, y0 + 1, plane.rows);
  region_ = cv::Rect(x0, y0, x1 - x0, y1 - y0);
  level_[0] = plane(region_);
  for (int l = 1; l <= top; ++l) {
    const cv::Size half(level_[l - 1].cols / 2, level_[l - 1].rows / 2);
    if (half.width < 1 || half.height < 1) {
      level_[l].release();
      continue;
    }
    const cv::Mat even = level_[l - 1](cv::Rect(0, 0, half.width * 2, half.height * 2));
    cv::resize(even, level_[l], half, 0, 0, cv::INTER_AREA);
  }
}

int PictureLevels::read(int level, const RingShape& shape, const RingPose& pose, float* value,
                        float* mask) {
  const cv::Mat& picture = level_[level];
  const double unit = 1.0 / (1 << level);
  const Eigen::Matrix2f a = (pose.linear * unit).cast<float>();
  const Eigen::Vector2d corner(region_.x - 0.5, region_.y - 0.5);
  const Eigen::Vector2d base = (pose.offset_px - corner) * unit - Eigen::Vector2d(0.5, 0.5);
  const int n = shape.meridians;
  const float right = static_cast<float>(picture.cols) - 1.001F;
  const float bottom = static_cast<float>(picture.rows) - 1.001F;
  const auto stride = static_cast<int>(picture.empty() ? 0 : picture.step[0]);
  const float* c = shape.cosine.data();
  const float* s = shape.sine.data();
  int outside = 0;
  px_.resize(static_cast<std::size_t>(n));
  py_.resize(static_cast<std::size_t>(n));
  place_.resize(static_cast<std::size_t>(n));
  float* __restrict px = px_.data();
  float* __restrict py = py_.data();
  int* __restrict place = place_.data();
  for (int k = 0; k < shape.rows; ++k) {
    float* out = value + static_cast<std::ptrdiff_t>(k) * n;
    float* seen = mask + static_cast<std::ptrdiff_t>(k) * n;
    const Eigen::Vector2d shift =
        base + (pose.linear * unit) * pose.parallax * static_cast<double>(shape.depth[k]);
    const float r = shape.radius[k];
    const float xc = a(0, 0) * r, xs = a(0, 1) * r, yc = a(1, 0) * r, ys = a(1, 1) * r;
    const auto x0 = static_cast<float>(shift.x());
    const auto y0 = static_cast<float>(shift.y());
    const float reach_x = std::hypot(xc, xs), reach_y = std::hypot(yc, ys);
    const bool inside = !picture.empty() && x0 - reach_x >= 0.0F && x0 + reach_x <= right &&
                        y0 - reach_y >= 0.0F && y0 + reach_y <= bottom;
    // Places first, in a loop without branches; then the look-up.
    for (int i = 0; i < n; ++i) {
      const float x = x0 + xc * c[i] + xs * s[i];
      const float y = y0 + yc * c[i] + ys * s[i];
      px[i] = x;
      py[i] = y;
    }
    if (!inside) {
      for (int i = 0; i < n; ++i) {
        const bool in = px[i] >= 0.0F && px[i] <= right && py[i] >= 0.0F && py[i] <= bottom;
        seen[i] = in ? 1.0F : 0.0F;
        outside += in ? 0 : 1;
        px[i] = in ? px[i] : 0.0F;
        py[i] = in ? py[i] : 0.0F;
      }
      if (picture.cols < 2 || picture.rows < 2) {
        std::fill(out, out + n, 0.0F);
        continue;
      }
    } else {
      std::fill(seen, seen + n, 1.0F);
    }
    for (int i = 0; i < n; ++i) {
      const int ix = static_cast<int>(px[i]), iy = static_cast<int>(py[i]);
      place[i] = iy * stride + ix;
      px[i] -= static_cast<float>(ix);
      py[i] -= static_cast<float>(iy);
    }
    const unsigned char* data = picture.data;
    for (int i = 0; i < n; ++i) {
      const unsigned char* p = data + place[i];
      const int a00 = p[0], a01 = p[1], a10 = p[stride], a11 = p[stride + 1];
      const float top = static_cast<float>(a00) + px[i] * static_cast<float>(a01 - a00);
      const float low = static_cast<float>(a10) + px[i] * static_cast<float>(a11 - a10);
      out[i] = (top + py[i] * (low - top)) * seen[i];
    }
  }
  return outside;
}

void RingNormaliser::box_mean(const RingShape& shape, const float* in, float* out) {
  const int n = shape.meridians, rows = shape.rows;
  const int half_columns =
      std::max(1, static_cast<int>(std::lround(surround_rad / (2.0 * std::numbers::pi) * n)));
  const float row_step =
      (shape.radius.back() - shape.radius.front()) / static_cast<float>(rows - 1);
  const int half_rows = std::max(1, static_cast<int>(std::lround(surround_radius / row_step)));
  column_.assign(static_cast<std::size_t>(n), 0.0F);
  row_.resize(static_cast<std::size_t>(n + 2 * half_columns + 1));
  const auto add_row = [&](int k, float sign) {
    const float* source = in + static_cast<std::ptrdiff_t>(k) * n;
    for (int i = 0; i < n; ++i) column_[i] += sign * source[i];
  };
  for (int k = 0; k < std::min(half_rows, rows); ++k) add_row(k, 1.0F);
  for (int k = 0; k < rows; ++k) {
    if (k + half_rows < rows) add_row(k + half_rows, 1.0F);
    if (k - half_rows - 1 >= 0) add_row(k - half_rows - 1, -1.0F);
    const int height = std::min(rows - 1, k + half_rows) - std::max(0, k - half_rows) + 1;
    const float weight = 1.0F / static_cast<float>(height * (2 * half_columns + 1));
    for (int i = 0; i < n + 2 * half_columns + 1; ++i) {
      int j = i - half_columns - 1;
      j = j < 0 ? j + n : (j >= n ? j - n : j);
      row_[i] = column_[j];
    }
    float sum = 0.0F;
    for (int i = 1; i < 2 * half_columns + 1; ++i) sum += row_[i];
    float* target = out + static_cast<std::ptrdiff_t>(k) * n;
    row_[0] = 0.0F;
    float leaving = 0.0F;
    for (int i = 0; i < n; ++i) {
      sum += row_[i + 2 * half_columns + 1 - 0] - leaving;
      target[i] = sum * weight;
      leaving = row_[i + 1];
    }
  }
}

void RingNormaliser::normalise(const RingShape& shape, const float* value, const float* mask,
                               int outside, float* contrast, bool keep_surround) {
  const std::size_t size = shape.size();
  if (!keep_surround || mean_.size() != size) {
    mean_.resize(size);
    per_mean_.resize(size);
    box_mean(shape, value, mean_.data());
    if (outside != 0) {
      share_.resize(size);
      box_mean(shape, mask, share_.data());
      for (std::size_t i = 0; i < size; ++i) mean_[i] /= std::max(share_[i], 0.05F);
    }
    for (std::size_t i = 0; i < size; ++i) per_mean_[i] = 1.0F / (mean_[i] + dark_floor);
  }
  for (std::size_t i = 0; i < size; ++i) {
    contrast[i] = mask[i] * (value[i] - mean_[i]) * per_mean_[i];
  }
}

}  // namespace rhumb::eye
