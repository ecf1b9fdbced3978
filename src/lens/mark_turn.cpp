// How far a strip's mark is turned from its template's, by Gauss-Newton over turn and gain.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <vector>

#include "lens/mark_template.h"

namespace rhumb::lens {
namespace {

// Neighbouring points of a strip share pixels (three columns to a pixel) and the picture's own
// blur.
constexpr double points_per_independent = 6.0;

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

// A row of a template, shifted by a part of a column and whole ones: value and slope (a column) by
// column of the strip, 0 where the strip can't be used or the template ends.
struct ShiftedRow {
  std::vector<float> value;
  std::vector<float> slope;
  std::size_t from = 0;  // columns in which it lies
  std::size_t to = 0;

  // Linear between columns, slopes by central differences.
  void shift(const float* form, const float* usable, int columns, double by) {
    const double whole = std::floor(-by);
    const auto f = static_cast<float>(-by - whole);
    const auto moved = static_cast<std::ptrdiff_t>(whole);
    const std::ptrdiff_t end = columns;
    value.resize(static_cast<std::size_t>(columns));
    slope.resize(value.size());
    from = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(1 - moved, 0, end));
    to = static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(end - 2 - moved, 0, end));
    for (std::size_t col = from; col < to; ++col) {
      const float* const at = form + (static_cast<std::ptrdiff_t>(col) + moved);
      const float left = 0.5F * (at[1] - at[-1]);
      const float right = 0.5F * (at[2] - at[0]);
      value[col] = usable[col] * ((1.0F - f) * at[0] + f * at[1]);
      slope[col] = usable[col] * ((1.0F - f) * left + f * right);
    }
  }
};

// Sums over a row of products of the template's value (t), of its change with a shift (s) and of
// what the model leaves of the strip (r, limited), in lanes that compilers add side by side.
struct RowProducts {
  static constexpr std::size_t lanes = 2;
  using Sum = std::array<double, lanes>;
  Sum tt{}, ts{}, ss{}, tr{}, sr{}, squares{}, points{};

  void add(std::size_t lane, float value, float t, float slope, double gain, double limit) {
    // d(model)/d(shift) = -gain * slope.
    const double ds = -gain * slope;
    const double raw = value - gain * t;
    const double residual = std::min(std::max(raw, -limit), limit);
    const double counts = t != 0.0F || slope != 0.0F ? 1.0 : 0.0;
    squares[lane] += counts * raw * raw;
    points[lane] += counts;
    tt[lane] += static_cast<double>(t) * t;
    ts[lane] += t * ds;
    ss[lane] += ds * ds;
    tr[lane] += t * residual;
    sr[lane] += ds * residual;
  }
};

// `clip`: residuals beyond so many standard deviations of the noise count as that.
NormalEquations accumulate(const MarkStrip& strip, const MarkTemplate& mark,
                           const TellingRows& rows, double shift_columns, double gain,
                           double clip) {
  NormalEquations n;
  ShiftedRow shifted;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const double weight = 1.0 / (static_cast<double>(mark.noise[channel]) * mark.noise[channel]);
    const double limit = clip * mark.noise[channel];
    for (const int row : rows[channel]) {
      const float* const value = strip.value[channel].ptr<float>(row);
      shifted.shift(mark.value[channel].ptr<float>(row), strip.usable.ptr<float>(row),
                    strip.usable.cols, shift_columns);
      RowProducts sums;
      std::size_t col = shifted.from;
      for (; col + RowProducts::lanes <= shifted.to; col += RowProducts::lanes) {
        for (std::size_t lane = 0; lane < RowProducts::lanes; ++lane)
          sums.add(lane, value[col + lane], shifted.value[col + lane], shifted.slope[col + lane],
                   gain, limit);
      }
      for (; col < shifted.to; ++col)
        sums.add(0, value[col], shifted.value[col], shifted.slope[col], gain, limit);
      const auto total = [](const RowProducts::Sum& sum) { return sum[0] + sum[1]; };
      n.gg += weight * total(sums.tt);
      n.gt += weight * total(sums.ts);
      n.tt += weight * total(sums.ss);
      n.gr += weight * total(sums.tr);
      n.tr += weight * total(sums.sr);
      n.squares += weight * total(sums.squares);
      n.points += total(sums.points);
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
  // Where a shifted row lies: the template's own columns but the first and the last two.
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
