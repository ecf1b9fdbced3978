#include "render/texture.h"

#include <cmath>
#include <opencv2/imgproc.hpp>

#include "render/rng.h"

namespace rhumb::render {

Texture::Texture(double width_mm, double height_mm, double per_mm)
    : width_(std::max(2, static_cast<int>(std::lround(width_mm * per_mm)))),
      height_(std::max(2, static_cast<int>(std::lround(height_mm * per_mm)))),
      per_mm_(static_cast<float>(per_mm)),
      x0_(static_cast<float>(0.5 * (width_ - 1))),
      y0_(static_cast<float>(0.5 * (height_ - 1))),
      data_(static_cast<std::size_t>(width_) * static_cast<std::size_t>(height_), Vec4{}) {}

void Texture::set_channel(int k, const cv::Mat& plane) {
  for (int y = 0; y < height_; ++y) {
    const float* from = plane.ptr<float>(y);
    for (int x = 0; x < width_; ++x) texel(y, x)[k] = from[x];
  }
}

namespace {

cv::Mat octave(cv::Size size, double cell_x, double cell_y, bool wraps_x, std::uint64_t key) {
  const int columns = std::max(1, static_cast<int>(std::lround(size.width / cell_x)));
  const int rows = std::max(1, static_cast<int>(std::lround(size.height / cell_y)));
  const int margin = 2;
  cv::Mat grid(rows + 2 * margin, columns + 2 * margin, CV_32FC1);
  for (int y = 0; y < grid.rows; ++y) {
    for (int x = 0; x < grid.cols; ++x) {
      const int cell = wraps_x ? (x - margin + columns * margin) % columns : x;
      const auto at = (static_cast<std::uint64_t>(y) << 32) | static_cast<std::uint32_t>(cell);
      grid.at<float>(y, x) =
          static_cast<float>(static_cast<double>(mix(key ^ mix(at)) >> 11) * 0x1.0p-52 - 1.0);
    }
  }
  const double sx = static_cast<double>(size.width) / columns;
  const double sy = static_cast<double>(size.height) / rows;
  // Texel centre x shows grid coordinate (x + 0.5) / sx - 0.5 + margin.
  const cv::Mat from_out = (cv::Mat_<double>(2, 3) << 1.0 / sx, 0.0, 0.5 / sx - 0.5 + margin, 0.0,
                            1.0 / sy, 0.5 / sy - 0.5 + margin);
  cv::Mat out;
  if (sx < 1.5 && sy < 1.5) {
    cv::warpAffine(grid, out, from_out, size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                   cv::BORDER_REFLECT_101);
  } else {
    cv::Mat large;
    const cv::Size full(static_cast<int>(std::lround(grid.cols * sx)),
                        static_cast<int>(std::lround(grid.rows * sy)));
    cv::resize(grid, large, full, 0, 0, cv::INTER_CUBIC);
    const int left = std::min(static_cast<int>(std::lround(margin * sx)), full.width - size.width);
    const int top = std::min(static_cast<int>(std::lround(margin * sy)), full.height - size.height);
    out = large(cv::Rect(left, top, size.width, size.height)).clone();
  }
  return out;
}

}  // namespace

cv::Mat cloud(cv::Size size, const CloudShape& shape, std::uint64_t key) {
  cv::Mat sum = cv::Mat::zeros(size, CV_32FC1);
  double height = 1.0;
  double total = 0.0;
  double cell_x = shape.cell_x;
  double cell_y = shape.cell_y;
  for (int i = 0; i < shape.octaves && std::max(cell_x, cell_y) >= 1.0; ++i) {
    const double wide = std::max(1.0, cell_x);
    const double high = std::max(1.0, cell_y);
    sum += height * octave(size, wide, high, shape.wraps_x, mix(key + static_cast<unsigned>(i)));
    total += height;
    height *= shape.fall;
    cell_x *= 0.5;
    cell_y *= 0.5;
  }
  return sum / total;
}

namespace {

void paint_piece(cv::Mat& map, const Point& a, const Point& b, double wa, double wb,
                 double strength) {
  const double reach = std::max(wa, wb) + 1.0;
  const int x0 = std::max(0, static_cast<int>(std::floor(std::min(a.x, b.x) - reach)));
  const int x1 = std::min(map.cols - 1, static_cast<int>(std::ceil(std::max(a.x, b.x) + reach)));
  const int y0 = std::max(0, static_cast<int>(std::floor(std::min(a.y, b.y) - reach)));
  const int y1 = std::min(map.rows - 1, static_cast<int>(std::ceil(std::max(a.y, b.y) + reach)));
  const double dx = b.x - a.x;
  const double dy = b.y - a.y;
  const double length2 = std::max(1e-9, dx * dx + dy * dy);
  for (int y = y0; y <= y1; ++y) {
    float* row = map.ptr<float>(y);
    for (int x = x0; x <= x1; ++x) {
      const double t = std::clamp(((x - a.x) * dx + (y - a.y) * dy) / length2, 0.0, 1.0);
      const double d = std::hypot(x - a.x - t * dx, y - a.y - t * dy);
      const double half = wa + t * (wb - wa);
      const double wide = std::max(half, 0.7);
      const double q = d / (wide + 0.5);
      if (q >= 1.0) continue;
      const double tube = std::sqrt(1.0 - q * q) * std::min(1.0, half / 0.7);
      row[x] = std::max(row[x], static_cast<float>(strength * tube));
    }
  }
}

}  // namespace

void paint_tube(cv::Mat& map, const std::vector<Point>& points,
                const std::vector<double>& half_widths, double strength) {
  for (std::size_t i = 0; i + 1 < points.size(); ++i)
    paint_piece(map, points[i], points[i + 1], half_widths[i], half_widths[i + 1], strength);
}

}  // namespace rhumb::render
