#include "lens/mark_template.h"

#include <algorithm>
#include <cmath>

#include "lens/bilinear.h"

namespace rhumb::lens {
namespace {

// Neighbouring points of a strip share pixels (three columns to a pixel) and the picture's own
// blur.
constexpr double points_per_independent = 6.0;

void remove_row_mean(MarkStrip& strip) {
  for (int row = 0; row < strip.usable.rows; ++row) {
    const float* usable = strip.usable.ptr<float>(row);
    for (cv::Mat1f& channel : strip.value) {
      float* value = channel.ptr<float>(row);
      float sum = 0.0F;
      float count = 0.0F;
      for (int col = 0; col < channel.cols; ++col) {
        sum += usable[col] * value[col];
        count += usable[col];
      }
      const float mean = count > 0.0F ? sum / count : 0.0F;
      for (int col = 0; col < channel.cols; ++col) value[col] = usable[col] * (value[col] - mean);
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
      const int px = static_cast<int>(x + 0.5);
      const int py = static_cast<int>(y + 0.5);
      if (!map.usable(py, px) || (!inside.empty() && !inside(py, px))) continue;
      out.usable(row, col) = 1.0F;
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        out.value[channel](row, col) =
            bilinear(map.value[channel], static_cast<float>(x), static_cast<float>(y));
      }
    }
  }
  remove_row_mean(out);
  return out;
}

TemplateBuilder::TemplateBuilder(const RadialGrid& grid, const StripGeometry& strip)
    : grid_(grid), strip_(strip) {
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    sum_[channel] = cv::Mat1f::zeros(grid.count, strip.columns());
    squares_[channel] = cv::Mat1f::zeros(grid.count, strip.columns());
  }
  weight_ = cv::Mat1f::zeros(grid.count, strip.columns());
}

void TemplateBuilder::add(const MarkStrip& strip, float weight) {
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    sum_[channel] += weight * strip.value[channel];
    squares_[channel] += weight * strip.value[channel].mul(strip.value[channel]);
  }
  weight_ += weight * strip.usable;
}

MarkTemplate TemplateBuilder::build() const {
  MarkTemplate mark;
  mark.seen = weight_.clone();
  cv::Mat1f divisor;
  cv::max(weight_, 1e-6F, divisor);
  double heaviest = 0.0;
  cv::minMaxLoc(weight_, nullptr, &heaviest);
  std::vector<double> row_power(static_cast<std::size_t>(grid_.count), 0.0);
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    mark.value[channel] = sum_[channel] / divisor;
    cv::Mat1f variance;
    cv::divide(squares_[channel], divisor, variance);
    variance -= mark.value[channel].mul(mark.value[channel]);
    double total = 0.0;
    double points = 0.0;
    for (int row = 0; row < grid_.count; ++row) {
      for (int col = 0; col < strip_.columns(); ++col) {
        const double share = weight_(row, col);
        total += share * std::max(0.0F, variance(row, col));
        points += share;
      }
    }
    mark.noise[channel] =
        static_cast<float>(std::max(1e-4, std::sqrt(total / std::max(points, 1e-9))));
    // Points that few frames saw say little of the lens.
    for (int row = 0; row < grid_.count; ++row) {
      for (int col = 0; col < strip_.columns(); ++col) {
        if (weight_(row, col) < 0.1 * heaviest) mark.value[channel](row, col) = 0.0F;
        const double z = mark.value[channel](row, col) / mark.noise[channel];
        // The outer quarter of the strip is surroundings.
        if (std::abs(strip_.angle_at(col)) < 0.75 * strip_.reach_rad) {
          row_power[static_cast<std::size_t>(row)] += z * z;
        }
      }
    }
  }
  const double strongest = *std::max_element(row_power.begin(), row_power.end());
  double weighted = 0.0;
  double weights = 0.0;
  for (int row = 0; row < grid_.count; ++row) {
    const double power = row_power[static_cast<std::size_t>(row)];
    const auto say =
        static_cast<float>(std::clamp(power / (0.15 * strongest + 1e-12) - 0.3, 0.0, 1.0));
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      mark.value[channel].row(row) *= say;
    }
    weighted += say * power * grid_.at(row);
    weights += say * power;
  }
  if (weights > 0.0) mark.mean_distance = weighted / weights;
  return mark;
}

namespace {

struct NormalEquations {
  double gg = 0.0, gt = 0.0, tt = 0.0, gr = 0.0, tr = 0.0;
  double squares = 0.0, points = 0.0;
};

// Template shifted by `turn`, and its slope in angle, at a column.
void sample(const float* row, int columns, double position, float& value, float& slope) {
  const int left = static_cast<int>(std::floor(position));
  if (left < 1 || left + 2 >= columns) {
    value = 0.0F;
    slope = 0.0F;
    return;
  }
  const auto f = static_cast<float>(position - left);
  value = (1.0F - f) * row[left] + f * row[left + 1];
  const float slope_left = 0.5F * (row[left + 1] - row[left - 1]);
  const float slope_right = 0.5F * (row[left + 2] - row[left]);
  slope = (1.0F - f) * slope_left + f * slope_right;
}

// `clip`: residuals beyond so many standard deviations of the noise count as that.
NormalEquations accumulate(const MarkStrip& strip, const MarkTemplate& mark, double shift_columns,
                           double gain, double clip) {
  NormalEquations n;
  const int columns = strip.usable.cols;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const double weight = 1.0 / (static_cast<double>(mark.noise[channel]) * mark.noise[channel]);
    for (int row = 0; row < strip.usable.rows; ++row) {
      const float* form = mark.value[channel].ptr<float>(row);
      const float* value = strip.value[channel].ptr<float>(row);
      const float* usable = strip.usable.ptr<float>(row);
      for (int col = 0; col < columns; ++col) {
        if (usable[col] == 0.0F) continue;
        float t = 0.0F;
        float slope = 0.0F;
        sample(form, columns, col - shift_columns, t, slope);
        if (t == 0.0F && slope == 0.0F) continue;
        // d(model)/d(shift) = -gain * slope.
        const double ds = -gain * slope;
        const double limit = clip * mark.noise[channel];
        const double raw = value[col] - gain * t;
        const double residual = std::clamp(raw, -limit, limit);
        n.squares += weight * raw * raw;
        n.points += 1.0;
        n.gg += weight * t * t;
        n.gt += weight * t * ds;
        n.tt += weight * ds * ds;
        n.gr += weight * t * residual;
        n.tr += weight * ds * residual;
      }
    }
  }
  return n;
}

}  // namespace

namespace {

constexpr double limit_rad = 0.07;    // of the turn, either way
constexpr double spread_rad = 0.035;  // of turns before anything was measured
constexpr double no_limit = 1e9;
constexpr double residual_limit =
    3.0;  // noise standard deviations; beyond this a point is something else

// The shift (columns) at which the template explains the strip best, for Gauss-Newton to start
// from: far from the truth its limited residuals would hold it where it is.
double best_shift(const MarkStrip& strip, const MarkTemplate& mark, const StripGeometry& geometry) {
  const double limit = limit_rad / geometry.step_rad;
  const double spread = spread_rad / geometry.step_rad;
  double best = -1e9;
  double best_at = 0.0;
  for (double shift = -std::floor(limit); shift <= limit; shift += 2.0) {
    const NormalEquations n = accumulate(strip, mark, shift, 0.0, no_limit);
    if (n.gg < 1e-9) continue;
    const double explained = n.gr > 0.0 ? 0.5 * n.gr * n.gr / (n.gg * points_per_independent) : 0.0;
    const double value = explained - 0.5 * shift * shift / (spread * spread);
    if (value > best) {
      best = value;
      best_at = shift;
    }
  }
  return best_at;
}

}  // namespace

TurnEstimate turn_of(const MarkStrip& strip, const MarkTemplate& mark,
                     const StripGeometry& geometry) {
  TurnEstimate estimate;
  const double limit = limit_rad / geometry.step_rad;
  double shift = best_shift(strip, mark, geometry);
  NormalEquations n = accumulate(strip, mark, shift, 0.0, no_limit);
  if (n.gg < 1e-9) return estimate;
  double gain = std::clamp(n.gr / n.gg, 0.2, 2.0);
  for (int round = 0; round < 4; ++round) {
    n = accumulate(strip, mark, shift, gain, residual_limit);
    if (n.gg < 1e-9 || n.tt < 1e-9) return estimate;
    // Weak priors keep a featureless strip from running away: gain 1 +- 0.5, shift 0 +- 2 degrees.
    const double gg = n.gg + 4.0;
    const double prior_shift = std::pow(geometry.step_rad / spread_rad, 2.0);
    const double tt = n.tt + prior_shift;
    const double gr = n.gr + 4.0 * (1.0 - gain);
    const double tr = n.tr - prior_shift * shift;
    const double determinant = gg * tt - n.gt * n.gt;
    gain = std::clamp(gain + (tt * gr - n.gt * tr) / determinant, 0.2, 2.0);
    shift = std::clamp(shift + (gg * tr - n.gt * gr) / determinant, -limit, limit);
  }
  n = accumulate(strip, mark, shift, gain, residual_limit);
  estimate.misfit = n.points > 0.0 ? std::sqrt(n.squares / n.points) : 1e3;
  const double slope_power = n.tt;
  // The gain for the judgement of visibility: without the prior and the limit that keep it up.
  n = accumulate(strip, mark, shift, 0.0, no_limit);
  const double free_gain = n.gr / n.gg;
  estimate.turn_rad = shift * geometry.step_rad;
  estimate.gain = free_gain;
  estimate.gain_se = std::sqrt(points_per_independent / n.gg);
  // slope_power holds the fitted gain, which the free one replaces.
  const double effective = std::clamp(free_gain, 0.05, 1.5) / gain;
  estimate.se_rad = geometry.step_rad * std::sqrt(points_per_independent / slope_power) / effective;
  return estimate;
}

double symmetric_angle(const MarkTemplate& mark, const StripGeometry& geometry) {
  // The shift at which the template agrees best with its own mirror image, halved.
  const int columns = geometry.columns();
  const auto agreement = [&](double shift) {
    double sum = 0.0;
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      const double weight = 1.0 / (static_cast<double>(mark.noise[channel]) * mark.noise[channel]);
      for (int row = 0; row < mark.value[channel].rows; ++row) {
        const float* form = mark.value[channel].ptr<float>(row);
        for (int col = 0; col < columns; ++col) {
          float mirrored = 0.0F;
          float slope = 0.0F;
          sample(form, columns, (columns - 1) - col + shift, mirrored, slope);
          sum += weight * form[col] * mirrored;
        }
      }
    }
    return sum;
  };
  double best_shift = 0.0;
  double best = -1.0;
  const double reach = 0.06 / geometry.step_rad;
  for (double shift = -reach; shift <= reach; shift += 0.5) {
    const double value = agreement(shift);
    if (value > best) {
      best = value;
      best_shift = shift;
    }
  }
  for (double step = 0.25; step > 0.01; step *= 0.5) {
    const double left = agreement(best_shift - step);
    const double right = agreement(best_shift + step);
    if (left > best && left >= right) {
      best = left;
      best_shift -= step;
    } else if (right > best) {
      best = right;
      best_shift += step;
    }
  }
  return 0.5 * best_shift * geometry.step_rad;
}

namespace {

struct Overlap {
  double product = 0.0;
  double square_a = 0.0;
  double square_b = 0.0;
};

Overlap overlap(const MarkTemplate& a, const MarkTemplate& b, int down, int right) {
  Overlap out;
  const int rows = a.value[0].rows;
  const int columns = a.value[0].cols;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const double scale = 1.0 / (static_cast<double>(a.noise[channel]) * b.noise[channel]);
    for (int row = std::max(0, -down); row < rows - std::max(0, down); ++row) {
      const float* one = a.value[channel].ptr<float>(row);
      const float* other = b.value[channel].ptr<float>(row + down);
      for (int col = std::max(0, -right); col < columns - std::max(0, right); ++col) {
        out.product += scale * one[col] * other[col + right];
        out.square_a += scale * one[col] * one[col];
        out.square_b += scale * other[col + right] * other[col + right];
      }
    }
  }
  return out;
}

}  // namespace

double power(const MarkTemplate& mark) { return overlap(mark, mark, 0, 0).square_a; }

double likeness(const MarkTemplate& a, const MarkTemplate& b) {
  constexpr int most_down = 8;   // steps of the radial grid, twice 0.06 limbal radii
  constexpr int most_right = 4;  // columns, 1.1 degrees
  // On the scale of an overlap of the two.
  const Overlap whole = overlap(a, b, 0, 0);
  double best = 0.0;
  for (int down = -most_down; down <= most_down; ++down) {
    for (int right = -most_right; right <= most_right; ++right) {
      const Overlap part = overlap(a, b, down, right);
      // What lies outside the overlap at one end can't be compared; at least half must be left.
      if (part.square_a < 0.5 * whole.square_a || part.square_b < 0.5 * whole.square_b) continue;
      const double norm = std::sqrt(part.square_a * part.square_b);
      if (norm > 0.0) best = std::max(best, part.product / norm);
    }
  }
  return best;
}

}  // namespace rhumb::lens
