// Reading a map between its pixels.
#pragma once

#include <opencv2/core.hpp>

namespace rhumb::lens {

// Bilinear value at column x, row y; both at least 0 and the pixel right below them inside the map.
inline float bilinear(const cv::Mat1f& map, float x, float y) {
  const int col = static_cast<int>(x);
  const int row = static_cast<int>(y);
  const float fx = x - static_cast<float>(col);
  const float fy = y - static_cast<float>(row);
  const float* upper = map.ptr<float>(row) + col;
  const float* lower = map.ptr<float>(row + 1) + col;
  return (1.0F - fy) * ((1.0F - fx) * upper[0] + fx * upper[1]) +
         fy * ((1.0F - fx) * lower[0] + fx * lower[1]);
}

}  // namespace rhumb::lens
