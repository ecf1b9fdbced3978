// Order statistics of several short lists at once: compilers turn the lanes into vector
// instructions, and there are no branches to mispredict.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>

namespace rhumb::lens {

inline constexpr std::size_t lanes = 8;
using Lanes = std::array<float, lanes>;  // one value of each list

// Sorts all lists, ascending. Method: merge exchange (Batcher 1968; Knuth, The Art of Computer
// Programming, vol. 3, Algorithm 5.2.2M, from memory).
inline void sort_side_by_side(std::span<Lanes> values) {
  const std::size_t count = values.size();
  std::size_t top = 1;
  while (2 * top < count) top *= 2;
  for (std::size_t p = top; p > 0; p /= 2) {
    std::size_t r = 0;
    std::size_t d = p;
    for (std::size_t q = top;; q /= 2) {
      for (std::size_t i = 0; i + d < count; ++i) {
        if ((i & p) != r) continue;
        Lanes& low = values[i];
        Lanes& high = values[i + d];
        for (std::size_t lane = 0; lane < lanes; ++lane) {
          const float a = low[lane];
          const float b = high[lane];
          low[lane] = std::min(a, b);
          high[lane] = std::max(a, b);
        }
      }
      if (q == p) break;
      d = q - p;
      r = p;
    }
  }
}

}  // namespace rhumb::lens
