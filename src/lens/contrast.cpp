#include "lens/contrast.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace rhumb::lens {
namespace {

// Local median at half resolution: the surroundings are smooth, and the median's cost is not.
cv::Mat surroundings(const cv::Mat& plane, double radius_px) {
  cv::Mat half;
  cv::resize(plane, half, cv::Size(), 0.5, 0.5, cv::INTER_AREA);
  cv::medianBlur(half, half, 2 * static_cast<int>(std::lround(0.5 * radius_px)) + 1);
  cv::GaussianBlur(half, half, cv::Size(), 1.0);
  cv::Mat full;
  cv::resize(half, full, plane.size(), 0, 0, cv::INTER_LINEAR);
  return full;
}

}  // namespace

ContrastMap contrast_map(const Patch& patch, const PatchGeometry& geometry,
                         const ContrastOptions& options) {
  const double radius_px = options.surround_radius * geometry.pixels_per_radius;
  const cv::Mat around_luma = surroundings(patch.luma, radius_px);
  const cv::Mat around_saturation = surroundings(patch.saturation, radius_px);
  ContrastMap map;
  for (auto& value : map.value) value.create(patch.luma.size());
  cv::Mat1b spoilt(patch.luma.size());
  const auto bright = static_cast<float>(options.bright_excess);
  const auto dark = static_cast<float>(options.dark_excess);
  for (int row = 0; row < patch.luma.rows; ++row) {
    const auto* luma = patch.luma.ptr<uchar>(row);
    const auto* luma_around = around_luma.ptr<uchar>(row);
    const auto* saturation = patch.saturation.ptr<uchar>(row);
    const auto* saturation_around = around_saturation.ptr<uchar>(row);
    for (int col = 0; col < patch.luma.cols; ++col) {
      // Floors keep the noise of a dark or grey picture from being blown up: limited-range black is 16.
      const float base = std::max(24.0F, static_cast<float>(luma_around[col]));
      const float colour = std::max(12.0F, static_cast<float>(saturation_around[col]));
      const float darker = (static_cast<float>(luma_around[col]) - static_cast<float>(luma[col])) / base;
      const float greyer =
          (static_cast<float>(saturation_around[col]) - static_cast<float>(saturation[col])) / colour;
      map.value[0](row, col) = std::clamp(darker, -bright, dark);
      map.value[1](row, col) = std::clamp(greyer, -0.5F, 0.8F);
      spoilt(row, col) = luma[col] == 0 || darker < -bright || darker > dark ? 255 : 0;
    }
  }
  const int grow = 2 * static_cast<int>(std::lround(0.016 * geometry.pixels_per_radius)) + 1;
  cv::dilate(spoilt, spoilt, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(grow, grow)));
  map.usable = 255 - spoilt;
  return map;
}

ContrastMap median_of(const std::vector<ContrastMap>& maps) {
  ContrastMap out;
  if (maps.empty()) return out;
  const cv::Size size = maps.front().usable.size();
  for (auto& value : out.value) value = cv::Mat1f::zeros(size);
  out.usable = cv::Mat1b::zeros(size);
  const auto least = static_cast<std::size_t>(std::ceil(0.4 * static_cast<double>(maps.size())));
  std::vector<float> values(maps.size());
  for (int row = 0; row < size.height; ++row) {
    for (int col = 0; col < size.width; ++col) {
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        std::size_t count = 0;
        for (const ContrastMap& map : maps) {
          if (map.usable(row, col)) values[count++] = map.value[channel](row, col);
        }
        if (count < least || count == 0) break;
        const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
        std::nth_element(values.begin(), middle, values.begin() + static_cast<std::ptrdiff_t>(count));
        out.value[channel](row, col) = *middle;
        out.usable(row, col) = 255;
      }
    }
  }
  return out;
}

}  // namespace rhumb::lens
