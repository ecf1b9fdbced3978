// A quantile of what was measured.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace rhumb::analyze {

// The value below which `share` of the values lie (the lower of two); `otherwise` of none.
template <typename T>
T quantile(std::vector<T> values, double share, T otherwise) {
  if (values.empty()) return otherwise;
  const auto place =
      values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), place, values.end());
  return *place;
}

}  // namespace rhumb::analyze
