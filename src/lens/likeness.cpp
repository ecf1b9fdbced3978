#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <opencv2/core.hpp>
#include <vector>

#include "lens/mark_template.h"
#include "lens/overlap.h"

namespace rhumb::lens {

namespace {

// `border`: columns at both sides that are left out.
Overlap overlap(const MarkTemplate& a, const MarkTemplate& b, int down, int right, int border = 0) {
  Overlap out;
  const int rows = a.value[0].rows;
  const int columns = a.value[0].cols;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const double scale = 1.0 / (static_cast<double>(a.noise[channel]) * b.noise[channel]);
    for (int row = std::max(0, -down); row < rows - std::max(0, down); ++row) {
      const float* one = a.value[channel].ptr<float>(row);
      const float* other = b.value[channel].ptr<float>(row + down);
      for (int col = border + std::max(0, -right); col < columns - border - std::max(0, right);
           ++col) {
        out.add(channel, one[col], other[col + right], scale);
      }
    }
  }
  return out;
}

constexpr int most_down = 8;  // steps of the radial grid, twice 0.06 limbal radii

// The shift at which two ends' marks agree best.
struct BestShift {
  double likeness = 0.0;
  int down = 0;
  int right = 0;
};

template <typename Correlation>
BestShift best_shift(const MarkTemplate& a, const MarkTemplate& b, int reach_down, int most_right,
                     Correlation correlation_of) {
  // Marks lie in the middle half of a strip; what else the two strips hold need not be alike.
  const int border = a.value[0].cols / 4;
  // On the scale of an overlap of the two.
  const Overlap whole = overlap(a, b, 0, 0, border);
  BestShift best;
  for (int down = -reach_down; down <= reach_down; ++down) {
    for (int right = -most_right; right <= most_right; ++right) {
      const Overlap part = overlap(a, b, down, right, border);
      // What lies outside the overlap at one end can't be compared; at least half must be left.
      if (part.all_a() < 0.5 * whole.all_a() || part.all_b() < 0.5 * whole.all_b()) continue;
      const double found = correlation_of(part);
      if (found > best.likeness) best = {found, down, right};
    }
  }
  return best;
}

BestShift best_shift(const MarkTemplate& a, const MarkTemplate& b) {
  constexpr int most_right = 4;  // columns, 1.1 degrees
  return best_shift(a, b, most_down, most_right, correlation_of_ends);
}

}  // namespace

double power(const MarkTemplate& mark) { return overlap(mark, mark, 0, 0).all_a(); }

double likeness(const MarkTemplate& a, const MarkTemplate& b) { return best_shift(a, b).likeness; }

double symmetry(const MarkTemplate& mark) {
  // Columns: twice the 1.7 degrees that marks may lie off the middle.
  constexpr int most_right = 12;
  MarkTemplate mirrored = mark;
  for (auto& value : mirrored.value) {
    cv::Mat1f flipped;
    cv::flip(value, flipped, 1);
    value = flipped;
  }
  return best_shift(mark, mirrored, 0, most_right, correlation).likeness;
}

double common_marks(const MarkTemplate& a, const MarkTemplate& b) {
  return likeness(a, b) * symmetry(a) * symmetry(b);
}

namespace {

MarkTemplate without_rows_from(MarkTemplate mark, int row) {
  const int rows = mark.value[0].rows;
  for (auto& value : mark.value) {
    value = value.clone();
    if (row < rows) value.rowRange(std::max(0, row), rows).setTo(0.0F);
  }
  return mark;
}

double mean_distance_of(const MarkTemplate& mark, const RadialGrid& grid) {
  double weighted = 0.0;
  double weights = 0.0;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    for (int row = 0; row < grid.count; ++row) {
      const double size = cv::norm(mark.value[channel].row(row)) / mark.noise[channel];
      weighted += size * size * grid.at(row);
      weights += size * size;
    }
  }
  return weights > 0.0 ? weighted / weights : mark.mean_distance;
}

}  // namespace

bool keep_what_both_show(MarkTemplate& a, MarkTemplate& b, const RadialGrid& grid,
                         const SharedRows& asked) {
  if (likeness(a, b) >= asked.alike) return false;
  const double least = asked.least_power * std::max(power(a), power(b));
  const int rows = a.value[0].rows;
  // From the most that might be shared to the least: an edge hides the outer marks first.
  for (int last = rows - 1; last > 0; --last) {
    const MarkTemplate inner_a = without_rows_from(a, last);
    if (power(inner_a) < least) return false;
    double best = asked.alike_in_part;
    int best_last = -1;
    for (int down = -most_down; down <= most_down; ++down) {
      const MarkTemplate inner_b = without_rows_from(b, last + down);
      if (power(inner_b) < least) continue;
      const double alike = likeness(inner_a, inner_b);
      if (alike <= best) continue;
      best = alike;
      best_last = last + down;
    }
    if (best_last < 0) continue;
    a = inner_a;
    b = without_rows_from(b, best_last);
    a.mean_distance = mean_distance_of(a, grid);
    b.mean_distance = mean_distance_of(b, grid);
    return true;
  }
  return false;
}

namespace {

// Correlation of two ends row by row, at a shift of whole columns: with end B as it is, or mirrored
// about the strip's middle. Between whole columns a reading of the rows would be smoother than at
// them, which draws the best shift to the whole ones.
class Rows {
 public:
  Rows(const MarkTemplate& a, const MarkTemplate& b, int down, bool mirrored)
      : a_(a), b_(b), down_(down), mirrored_(mirrored) {}

  std::vector<double> at(int shift) const {
    const int rows = a_.value[0].rows;
    const int columns = a_.value[0].cols;
    std::vector<double> sums;
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      const double weight = 1.0 / (static_cast<double>(a_.noise[channel]) * b_.noise[channel]);
      for (int row = std::max(0, -down_); row < rows - std::max(0, down_); ++row) {
        const float* one = a_.value[channel].ptr<float>(row);
        const float* other = b_.value[channel].ptr<float>(row + down_);
        double sum = 0.0;
        for (int col = 0; col < columns; ++col) {
          const int there = (mirrored_ ? (columns - 1) - col : col) + shift;
          if (there >= 0 && there < columns) sum += static_cast<double>(one[col] * other[there]);
        }
        sums.push_back(weight * sum);
      }
    }
    return sums;
  }

 private:
  const MarkTemplate& a_;
  const MarkTemplate& b_;
  int down_;
  bool mirrored_;
};

double sum_of(const std::vector<double>& parts) {
  return std::accumulate(parts.begin(), parts.end(), 0.0);
}

// A parabola through five whole shifts about a middle, by least squares.
struct Parabola {
  double slope = 0.0;  // at the middle
  double bend = 0.0;   // downwards: minus the second derivative
};

constexpr int parabola_reach = 2;
using Five = std::array<double, 2 * parabola_reach + 1>;

Parabola parabola_of(const Five& value) {
  // Orthogonal polynomials on five points: sums of squares 10 and 14.
  return {(-2.0 * value[0] - value[1] + value[3] + 2.0 * value[4]) / 10.0,
          -(2.0 * value[0] - value[1] - 2.0 * value[2] - value[3] + 2.0 * value[4]) / 7.0};
}

struct Peak {
  double shift = 0.0;
  double se = 1e3;  // each pair of rows would rather have it elsewhere
};

// The shift of highest agreement in columns, within `reach` of `middle`.
Peak highest(const Rows& rows, int middle, int reach) {
  int top = middle;
  double best = -1e30;
  for (int shift = middle - reach; shift <= middle + reach; ++shift) {
    const double value = sum_of(rows.at(shift));
    if (value > best) {
      best = value;
      top = shift;
    }
  }
  std::array<std::vector<double>, 2 * parabola_reach + 1> about;
  for (int k = 0; k < static_cast<int>(about.size()); ++k)
    about[k] = rows.at(top + k - parabola_reach);
  constexpr std::size_t in_cluster = 2;  // neighbouring rows share what they hold
  std::vector<Parabola> clusters;
  Parabola whole;
  for (std::size_t first = 0; first < about[0].size(); first += in_cluster) {
    Five value{};
    for (std::size_t r = first; r < std::min(about[0].size(), first + in_cluster); ++r)
      for (std::size_t k = 0; k < value.size(); ++k) value[k] += about[k][r];
    clusters.push_back(parabola_of(value));
    whole.slope += clusters.back().slope;
    whole.bend += clusters.back().bend;
  }
  if (!(whole.bend > 0.0)) return {static_cast<double>(top), 1e3};
  const double beside = std::clamp(whole.slope / whole.bend, -1.0, 1.0);
  double squares = 0.0;
  double bends = 0.0;
  for (const Parabola& one : clusters) {
    const double slope = one.slope - one.bend * beside;
    squares += slope * slope;
    bends += one.bend * one.bend;
  }
  // Few rows that decide say little about their scatter.
  const double deciding = std::max(1.2, whole.bend * whole.bend / std::max(1e-30, bends));
  return {top + beside, std::sqrt(squares * deciding / (deciding - 1.0)) / whole.bend};
}

int reach_of(const StripGeometry& geometry) {
  return static_cast<int>(std::lround(0.06 / geometry.step_rad));
}

}  // namespace

double symmetric_angle(const MarkTemplate& mark, const StripGeometry& geometry) {
  // The shift at which the template agrees best with its own mirror image, halved.
  return 0.5 * highest(Rows(mark, mark, 0, true), 0, reach_of(geometry)).shift * geometry.step_rad;
}

MarkAngles mark_angles(const MarkTemplate& a, const MarkTemplate& other,
                       const StripGeometry& geometry) {
  const BestShift start = best_shift(a, other);
  // Where the marks are light at one end and dark at the other, they agree with the sign turned.
  MarkTemplate b = other;
  if (overlap(a, b, start.down, start.right).product[luma_channel] < 0.0) {
    // Assigned in place it would be written into what `other` shares.
    cv::Mat1f turned;
    other.value[luma_channel].convertTo(turned, CV_32F, -1.0);
    b.value[luma_channel] = turned;
  }
  const Peak difference = highest(Rows(a, b, start.down, false), start.right, 1);
  // Mirrored, the marks of both ends meet where the shift is the sum of their columns.
  const Peak sum = highest(Rows(a, b, start.down, true), 0, reach_of(geometry));
  MarkAngles out;
  out.a_rad = 0.5 * (sum.shift - difference.shift) * geometry.step_rad;
  out.b_rad = 0.5 * (sum.shift + difference.shift) * geometry.step_rad;
  out.mean_se_rad = 0.5 * sum.se * geometry.step_rad;
  return out;
}

}  // namespace rhumb::lens
