// The upper median, and what it makes of a scatter.
#pragma once

#include <algorithm>
#include <vector>

namespace rhumb::eye {

// Standard deviation of a normal distribution over its median absolute deviation.
inline constexpr double mad_to_sd = 1.4826;

// 0 of nothing.
inline double median_of(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace rhumb::eye
