// One row of a mark template between its columns.
#pragma once

#include <cmath>

namespace rhumb::lens {

// Value and slope (a column) at a position between columns; 0 outside.
inline void sample(const float* row, int columns, double position, float& value, float& slope) {
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

}  // namespace rhumb::lens
