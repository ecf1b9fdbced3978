#include <algorithm>
#include <cmath>

#include "lens/mark_template.h"
#include "lens/template_row.h"

namespace rhumb::lens {

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
  // Marks lie in the middle half of a strip; what else the two strips hold need not be alike.
  const int border = a.value[0].cols / 4;
  // On the scale of an overlap of the two.
  const Overlap whole = overlap(a, b, 0, 0, border);
  double best = 0.0;
  for (int down = -most_down; down <= most_down; ++down) {
    for (int right = -most_right; right <= most_right; ++right) {
      const Overlap part = overlap(a, b, down, right, border);
      // What lies outside the overlap at one end can't be compared; at least half must be left.
      if (part.square_a < 0.5 * whole.square_a || part.square_b < 0.5 * whole.square_b) continue;
      const double norm = std::sqrt(part.square_a * part.square_b);
      if (norm > 0.0) best = std::max(best, part.product / norm);
    }
  }
  return best;
}

}  // namespace rhumb::lens
