#include <algorithm>
#include <cmath>
#include <vector>

#include "lens/bilinear.h"
#include "lens/mark_template.h"

namespace rhumb::lens {
namespace {

// A line across the strip: the edge of the rhexis, of the optic or of a haptic runs round the eye,
// and about a centre that is not the lens's it crosses the strip at a slope. Centres lie up to 0.3
// limbal radii apart.
constexpr int most_slope = 6;
constexpr double slope_step = 0.05;  // limbal radii a radian
constexpr int least_share = 3;       // of the columns one in so many must be seen

using Profile = std::vector<float>;  // by row: what the lines that cross the middle there hold

class Lines {
 public:
  Lines(const MarkStrip& strip, const StripGeometry& geometry, const RadialGrid& grid)
      : strip_(strip), geometry_(geometry), grid_(grid) {
    for (int slope = -most_slope; slope <= most_slope; ++slope) {
      for (int col = 0; col < strip.usable.cols; ++col)
        rows_.push_back(static_cast<int>(std::lround(shift(slope, col))));
    }
  }

  double shift(int slope, int col) const {
    return slope * slope_step * geometry_.angle_at(col) / grid_.step;
  }

  // Medians along the lines of a slope, from every `stride`-th column.
  Profile medians(std::size_t channel, int slope, int stride) const {
    const int rows = strip_.usable.rows;
    const int columns = strip_.usable.cols;
    Profile out(static_cast<std::size_t>(rows), 0.0F);
    const int* moved =
        &rows_[static_cast<std::size_t>(slope + most_slope) * static_cast<std::size_t>(columns)];
    std::vector<float> values;
    for (int row = 0; row < rows; ++row) {
      values.clear();
      for (int col = 0; col < columns; col += stride) {
        const int at = row + moved[col];
        if (at < 0 || at >= rows || strip_.usable(at, col) == 0.0F) continue;
        values.push_back(strip_.value[channel](at, col));
      }
      if (least_share * static_cast<int>(values.size()) * stride < columns) continue;
      const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
      std::nth_element(values.begin(), middle, values.end());
      out[static_cast<std::size_t>(row)] = *middle;
    }
    return out;
  }

  int strongest_slope() const {
    int best = 0;
    double most = -1.0;
    for (int step = 0; step <= 2 * most_slope; ++step) {
      // 0, 1, -1, 2, ...: the flattest of equals.
      const int slope = step % 2 == 1 ? (step + 1) / 2 : -step / 2;
      double sum = 0.0;
      for (const float value : medians(0, slope, 2)) sum += static_cast<double>(value) * value;
      if (sum > most) {
        most = sum;
        best = slope;
      }
    }
    return best;
  }

 private:
  const MarkStrip& strip_;
  const StripGeometry& geometry_;
  const RadialGrid& grid_;
  std::vector<int> rows_;  // by slope and column: what a line lies off its middle, whole rows
};

float at(const Profile& profile, double row) {
  const int last = static_cast<int>(profile.size()) - 1;
  const double inside = std::clamp(row, 0.0, static_cast<double>(last));
  const int lower = std::min(static_cast<int>(inside), std::max(0, last - 1));
  const auto f = static_cast<float>(inside - lower);
  const auto index = static_cast<std::size_t>(lower);
  return (1.0F - f) * profile[index] + f * profile[std::min(index + 1, profile.size() - 1)];
}

// Takes out what is the same all along the lines of the slope that holds most.
void remove_lines(MarkStrip& strip, const StripGeometry& geometry, const RadialGrid& grid) {
  const Lines lines(strip, geometry, grid);
  const int slope = lines.strongest_slope();
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const Profile profile = lines.medians(channel, slope, 1);
    for (int row = 0; row < strip.usable.rows; ++row) {
      for (int col = 0; col < strip.usable.cols; ++col) {
        if (strip.usable(row, col) == 0.0F) continue;
        strip.value[channel](row, col) -= at(profile, row - lines.shift(slope, col));
      }
    }
  }
}

}  // namespace

MarkStrip mark_strip(const ContrastMap& map, const cv::Mat1b& inside, const PatchGeometry& geometry,
                     const Eigen::Vector2d& centre, double meridian_rad, const RadialGrid& grid,
                     const StripGeometry& strip) {
  MarkStrip out;
  const int columns = strip.columns();
  for (auto& value : out.value) value = cv::Mat1f::zeros(grid.count, columns);
  out.usable = cv::Mat1f::zeros(grid.count, columns);
  const Eigen::Vector2d origin = geometry.pixel_from(centre);
  const int last = geometry.size_px - 2;
  for (int col = 0; col < columns; ++col) {
    const double phi = meridian_rad + strip.angle_at(col);
    const double dx = std::cos(phi) * geometry.pixels_per_radius;
    const double dy = -std::sin(phi) * geometry.pixels_per_radius;
    for (int row = 0; row < grid.count; ++row) {
      const double x = origin.x() + dx * grid.at(row);
      const double y = origin.y() + dy * grid.at(row);
      if (x < 0.0 || y < 0.0 || x >= last || y >= last) continue;
      const BilinearPlace place(static_cast<float>(x), static_cast<float>(y));
      const int px = place.nearest_col();
      const int py = place.nearest_row();
      if (!map.usable(py, px) || (!inside.empty() && !inside(py, px))) continue;
      if (!map.ring.empty() && map.ring(py, px)) continue;
      out.usable(row, col) = 1.0F;
      for (std::size_t channel = 0; channel < channel_count; ++channel)
        out.value[channel](row, col) = place.read(map.value[channel]);
    }
  }
  remove_lines(out, strip, grid);  // what lies across the meridian
  remove_lines(out, strip, grid);  // a second edge, at another slope
  return out;
}

}  // namespace rhumb::lens
