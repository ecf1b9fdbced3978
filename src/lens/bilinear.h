// Reading a map between its pixels.
#pragma once

#include <opencv2/core.hpp>

namespace rhumb::lens {

// A place between pixels, for reading several maps of the same size there: column x, row y; both at
// least 0 and the pixel right below them inside the maps.
class BilinearPlace {
 public:
  BilinearPlace(float x, float y)
      : col_(static_cast<int>(x)),
        row_(static_cast<int>(y)),
        fx_(x - static_cast<float>(col_)),
        fy_(y - static_cast<float>(row_)) {}

  float read(const cv::Mat1f& map) const {
    const float* upper = map.ptr<float>(row_) + col_;
    const float* lower = map.ptr<float>(row_ + 1) + col_;
    return (1.0F - fy_) * ((1.0F - fx_) * upper[0] + fx_ * upper[1]) +
           fy_ * ((1.0F - fx_) * lower[0] + fx_ * lower[1]);
  }

  // The pixel that the place lies in.
  int nearest_col() const { return fx_ < 0.5F ? col_ : col_ + 1; }
  int nearest_row() const { return fy_ < 0.5F ? row_ : row_ + 1; }

 private:
  int col_;
  int row_;
  float fx_;
  float fy_;
};

}  // namespace rhumb::lens
