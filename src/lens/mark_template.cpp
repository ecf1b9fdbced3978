#include "lens/mark_template.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <vector>

#include "lens/template_row.h"

namespace rhumb::lens {
namespace {

// Neighbouring points of a strip share pixels (three columns to a pixel) and the picture's own
// blur.
constexpr double points_per_independent = 6.0;
// Points that fewer frames saw, against the best-seen one, are left out: the mean of a few frames
// is as wide as an outlier, and one outlier would outweigh the mark.
constexpr double least_seen = 0.3;

}  // namespace

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

MarkTemplate TemplateBuilder::build(std::span<const float> distances) const {
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
    for (int row = 0; row < grid_.count; ++row) {
      for (int col = 0; col < strip_.columns(); ++col) {
        if (weight_(row, col) < least_seen * heaviest) mark.value[channel](row, col) = 0.0F;
        const double z = mark.value[channel](row, col) / mark.noise[channel];
        // The outer quarter of the strip is surroundings.
        if (std::abs(strip_.angle_at(col)) < 0.75 * strip_.reach_rad) {
          row_power[static_cast<std::size_t>(row)] += z * z;
        }
      }
    }
  }
  const auto share = [&](int row) {
    return distances.empty() ? 1.0F : distances[static_cast<std::size_t>(row)];
  };
  for (int row = 0; row < grid_.count; ++row)
    row_power[static_cast<std::size_t>(row)] *= static_cast<double>(share(row));
  const double strongest = *std::max_element(row_power.begin(), row_power.end());
  double weighted = 0.0;
  double weights = 0.0;
  for (int row = 0; row < grid_.count; ++row) {
    const double power = row_power[static_cast<std::size_t>(row)];
    const auto say = share(row) * static_cast<float>(std::clamp(
                                      power / (0.15 * strongest + 1e-12) - 0.3, 0.0, 1.0));
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

// By channel the distances at which the template says anything: most say nothing.
using TellingRows = std::array<std::vector<int>, channel_count>;

TellingRows telling_rows(const MarkTemplate& mark) {
  TellingRows out;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const cv::Mat1f& value = mark.value[channel];
    for (int row = 0; row < value.rows; ++row) {
      const float* form = value.ptr<float>(row);
      if (std::any_of(form, form + value.cols, [](float v) { return v != 0.0F; }))
        out[channel].push_back(row);
    }
  }
  return out;
}

// `clip`: residuals beyond so many standard deviations of the noise count as that.
NormalEquations accumulate(const MarkStrip& strip, const MarkTemplate& mark,
                           const TellingRows& rows, double shift_columns, double gain,
                           double clip) {
  NormalEquations n;
  const int columns = strip.usable.cols;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const double weight = 1.0 / (static_cast<double>(mark.noise[channel]) * mark.noise[channel]);
    for (const int row : rows[channel]) {
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

constexpr double limit_rad = 0.07;    // of the turn, either way
constexpr double search_rad = 0.11;   // marks that lie this far beside are told from none
constexpr double spread_rad = 0.035;  // of turns before anything was measured
constexpr double no_limit = 1e9;
constexpr double residual_limit =
    3.0;  // noise standard deviations; beyond this a point is something else

// Sums over one row for a shift by whole columns: of the template's squares where the strip is
// usable, and of its products with the strip. In lanes, which compilers add side by side.
struct RowSums {
  float squares = 0.0F;
  float products = 0.0F;
};

RowSums sums_of_row(const float* form, const float* value, const float* usable, int columns,
                    int shift) {
  constexpr int lanes = 8;
  std::array<float, lanes> squares{};
  std::array<float, lanes> products{};
  // Where `sample` gives anything: the template's own columns but the first and the last two.
  const int from = std::max(0, shift + 1);
  const int to = std::min(columns, columns - 2 + shift);
  int col = from;
  for (; col + lanes <= to; col += lanes) {
    for (int lane = 0; lane < lanes; ++lane) {
      const float t = form[col + lane - shift] * usable[col + lane];
      squares[static_cast<std::size_t>(lane)] += t * t;
      products[static_cast<std::size_t>(lane)] += t * value[col + lane];
    }
  }
  for (; col < to; ++col) {
    const float t = form[col - shift] * usable[col];
    squares[0] += t * t;
    products[0] += t * value[col];
  }
  return {std::accumulate(squares.begin(), squares.end(), 0.0F),
          std::accumulate(products.begin(), products.end(), 0.0F)};
}

// The shift (columns) at which the template explains the strip best, for Gauss-Newton to start
// from: far from the truth its limited residuals would hold it where it is.
double best_shift(const MarkStrip& strip, const MarkTemplate& mark, const TellingRows& rows,
                  const StripGeometry& geometry) {
  const int limit = static_cast<int>(search_rad / geometry.step_rad);
  const double spread = spread_rad / geometry.step_rad;
  double best = -1e9;
  int best_at = 0;
  for (int shift = -limit; shift <= limit; shift += 2) {
    double gg = 0.0;
    double gr = 0.0;
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      const double weight = 1.0 / (static_cast<double>(mark.noise[channel]) * mark.noise[channel]);
      for (const int row : rows[channel]) {
        const RowSums sums =
            sums_of_row(mark.value[channel].ptr<float>(row), strip.value[channel].ptr<float>(row),
                        strip.usable.ptr<float>(row), strip.usable.cols, shift);
        gg += weight * static_cast<double>(sums.squares);
        gr += weight * static_cast<double>(sums.products);
      }
    }
    if (gg < 1e-9) continue;
    const double explained = gr > 0.0 ? 0.5 * gr * gr / (gg * points_per_independent) : 0.0;
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
  const TellingRows rows = telling_rows(mark);
  double shift = best_shift(strip, mark, rows, geometry);
  if (std::abs(shift) > limit) return estimate;
  NormalEquations n = accumulate(strip, mark, rows, shift, 0.0, no_limit);
  if (n.gg < 1e-9) return estimate;
  double gain = std::clamp(n.gr / n.gg, 0.2, 2.0);
  for (int round = 0; round < 4; ++round) {
    n = accumulate(strip, mark, rows, shift, gain, residual_limit);
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
  n = accumulate(strip, mark, rows, shift, gain, residual_limit);
  estimate.misfit = n.points > 0.0 ? std::sqrt(n.squares / n.points) : 1e3;
  const double slope_power = n.tt;
  // The gain for the judgement of visibility: without the prior and the limit that keep it up.
  n = accumulate(strip, mark, rows, shift, 0.0, no_limit);
  const double free_gain = n.gr / n.gg;
  estimate.turn_rad = shift * geometry.step_rad;
  estimate.gain = free_gain;
  estimate.gain_se = std::sqrt(points_per_independent / n.gg);
  // slope_power holds the fitted gain, which the free one replaces.
  const double effective = std::clamp(free_gain, 0.05, 1.5) / gain;
  estimate.se_rad = geometry.step_rad * std::sqrt(points_per_independent / slope_power) / effective;
  return estimate;
}

}  // namespace rhumb::lens
