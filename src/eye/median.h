// The upper median.
#pragma once

#include <algorithm>
#include <vector>

namespace rhumb::eye {

// 0 of nothing.
inline double median_of(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace rhumb::eye
