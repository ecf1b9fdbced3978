#include "lens/dark_map.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace rhumb::lens {
namespace {

constexpr float mad_to_sigma = 1.4826F;  // of a normal distribution

int odd_kernel(double pixels) { return 2 * static_cast<int>(std::lround(pixels)) + 1; }

// Median of the absolute response over usable pixels, as a standard deviation.
float robust_sigma(const cv::Mat1f& response, const cv::Mat1b& usable) {
  std::vector<float> values;
  values.reserve(response.total());
  for (int row = 0; row < response.rows; ++row) {
    for (int col = 0; col < response.cols; ++col) {
      if (usable(row, col)) values.push_back(std::abs(response(row, col)));
    }
  }
  if (values.size() < 100) return 0.0F;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return mad_to_sigma * *middle;
}

}  // namespace

DarkMap dark_map(const cv::Mat& patch, const cv::Mat& inside, const PatchGeometry& geometry,
                 const DarkMapOptions& options) {
  const double ppr = geometry.pixels_per_radius;
  cv::Mat surroundings;
  cv::medianBlur(patch, surroundings, odd_kernel(0.09 * ppr));

  cv::Mat1f ratio(patch.size());
  cv::Mat1b spoilt(patch.size(), static_cast<uchar>(0));
  const auto bright = static_cast<float>(options.bright_excess);
  const auto dark = static_cast<float>(options.dark_excess);
  for (int row = 0; row < patch.rows; ++row) {
    const auto* luma = patch.ptr<uchar>(row);
    const auto* around = surroundings.ptr<uchar>(row);
    for (int col = 0; col < patch.cols; ++col) {
      const float base = std::max(16.0F, static_cast<float>(around[col]));
      const float darkness = 1.0F - static_cast<float>(luma[col]) / base;
      spoilt(row, col) = luma[col] == 0 || darkness < -bright || darkness > dark ? 255 : 0;
      // What is spoilt counts as its surroundings, so that it rings as little as it can.
      ratio(row, col) = spoilt(row, col) ? 0.0F : darkness;
    }
  }
  cv::Mat1f narrow;
  cv::Mat1f wide;
  cv::GaussianBlur(ratio, narrow, cv::Size(), options.mark_sigma * ppr);
  cv::GaussianBlur(ratio, wide, cv::Size(), options.surround_sigma * ppr);

  DarkMap map;
  map.response = narrow - wide;
  const int grow = odd_kernel(0.012 * ppr);
  cv::dilate(spoilt, spoilt, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(grow, grow)));
  map.usable = 255 - spoilt;
  if (!inside.empty()) cv::bitwise_and(map.usable, inside, map.usable);
  map.noise = robust_sigma(map.response, map.usable);
  const float scale = map.noise > 0.0F ? 1.0F / map.noise : 0.0F;
  for (int row = 0; row < patch.rows; ++row) {
    for (int col = 0; col < patch.cols; ++col) {
      map.response(row, col) *= map.usable(row, col) ? scale : 0.0F;
    }
  }
  return map;
}

}  // namespace rhumb::lens
