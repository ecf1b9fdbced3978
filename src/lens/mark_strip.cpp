#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "lens/bilinear.h"
#include "lens/mark_template.h"
#include "lens/side_by_side.h"

namespace rhumb::lens {
namespace {

// A line across the strip: the edge of the rhexis, of the optic or of a haptic runs round the eye,
// and about a centre that is not the lens's it crosses the strip at a slope. Centres lie up to 0.3
// limbal radii apart.
constexpr int most_slope = 6;
constexpr double slope_step = 0.05;     // limbal radii a radian
constexpr std::size_t least_share = 3;  // of the columns one in so many must be seen

using Profile = std::vector<float>;  // by row: what the lines that cross the middle there hold

class Lines {
 public:
  Lines(const MarkStrip& strip, const StripGeometry& geometry, const RadialGrid& grid)
      : rows_(static_cast<std::size_t>(strip.usable.rows)),
        columns_(static_cast<std::size_t>(strip.usable.cols)),
        geometry_(geometry),
        grid_(grid) {
    for (int slope = -most_slope; slope <= most_slope; ++slope) {
      for (int col = 0; col < strip.usable.cols; ++col)
        moved_.push_back(static_cast<int>(std::lround(shift(slope, col))));
    }
    const auto [low, high] = std::minmax_element(moved_.begin(), moved_.end());
    margin_ = std::max(-*low, *high);
    length_ = (rows_ + lanes - 1) / lanes * lanes + 2 * static_cast<std::size_t>(margin_);
    for (std::size_t channel = 0; channel < channel_count; ++channel) turn_round(strip, channel);
  }

  double shift(int slope, int col) const {
    return slope * slope_step * geometry_.angle_at(col) / grid_.step;
  }

  // Medians along the lines of a slope, from every `stride`-th column.
  Profile medians(std::size_t channel, int slope, std::size_t stride) const {
    Profile out(rows_, 0.0F);
    const int* moved = &moved_[static_cast<std::size_t>(slope + most_slope) * columns_];
    std::vector<Lanes> values((columns_ + stride - 1) / stride);
    for (std::size_t row = 0; row < rows_; row += lanes) {
      std::array<std::size_t, lanes> count{};
      for (std::size_t k = 0; k < values.size(); ++k) {
        const std::size_t col = k * stride;
        const float* from = &by_column_[channel][col * length_ + row] + margin_ + moved[col];
        std::copy_n(from, lanes, values[k].begin());
        for (std::size_t lane = 0; lane < lanes; ++lane)
          count[lane] += values[k][lane] < unusable ? 1 : 0;
      }
      sort_side_by_side(values);
      for (std::size_t lane = 0; lane < std::min(lanes, rows_ - row); ++lane) {
        if (least_share * count[lane] * stride < columns_) continue;
        out[row + lane] = values[count[lane] / 2][lane];
      }
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
  static constexpr float unusable = std::numeric_limits<float>::infinity();  // sorts last

  // A column after the other, with a margin that no line leaves.
  void turn_round(const MarkStrip& strip, std::size_t channel) {
    by_column_[channel].assign(columns_ * length_, unusable);
    for (int row = 0; row < strip.usable.rows; ++row) {
      const float* value = strip.value[channel].ptr<float>(row);
      const float* usable = strip.usable.ptr<float>(row);
      float* to =
          &by_column_[channel][static_cast<std::size_t>(margin_) + static_cast<std::size_t>(row)];
      for (std::size_t col = 0; col < columns_; ++col, to += length_)
        if (usable[col] != 0.0F) *to = value[col];
    }
  }

  std::size_t rows_ = 0;
  std::size_t columns_ = 0;
  const StripGeometry& geometry_;
  const RadialGrid& grid_;
  std::vector<int> moved_;  // by slope and column: what a line lies off its middle, whole rows
  int margin_ = 0;
  std::size_t length_ = 0;  // of a column with its margins
  std::array<std::vector<float>, channel_count> by_column_;
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
