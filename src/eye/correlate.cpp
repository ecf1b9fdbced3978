#include "eye/correlate.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rhumb::eye {

RingSpectrum::RingSpectrum(const RingShape& shape, const std::vector<float>& contrast) {
  std::vector<float> sizes;
  for (std::size_t i = 0; i < contrast.size(); i += 3) {
    if (contrast[i] != 0.0F) sizes.push_back(std::abs(contrast[i]));
  }
  if (sizes.empty()) return;
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  const float cut = 3.0F * 1.4826F * *middle;
  cv::Mat ring(shape.rows, shape.meridians, CV_32FC1);
  for (int k = 0; k < shape.rows; ++k) {
    auto* row = ring.ptr<float>(k);
    const float* in = contrast.data() + static_cast<std::ptrdiff_t>(k) * shape.meridians;
    // The mean over all meridians says nothing about rotation.
    float mean = 0.0F;
    for (int i = 0; i < shape.meridians; ++i) mean += row[i] = std::clamp(in[i], -cut, cut);
    mean /= static_cast<float>(shape.meridians);
    const float weight = std::sqrt(shape.radius[k]);
    for (int i = 0; i < shape.meridians; ++i) {
      row[i] = weight * (row[i] - mean);
      energy_ += static_cast<double>(row[i]) * static_cast<double>(row[i]);
    }
  }
  cv::dft(ring, spectrum_, cv::DFT_ROWS);
}

void RingSpectrum::correlate(const RingSpectrum& other, std::vector<float>& by_shift) const {
  cv::Mat product;
  cv::mulSpectrums(other.spectrum_, spectrum_, product, cv::DFT_ROWS, true);
  cv::Mat sum;
  cv::reduce(product, sum, 0, cv::REDUCE_SUM, CV_32F);
  cv::Mat curve;
  cv::dft(sum, curve, cv::DFT_INVERSE | cv::DFT_SCALE | cv::DFT_REAL_OUTPUT | cv::DFT_ROWS);
  const double norm = 1.0 / std::sqrt(std::max(1e-30, energy_ * other.energy_));
  by_shift.resize(static_cast<std::size_t>(curve.cols));
  for (int i = 0; i < curve.cols; ++i) {
    by_shift[i] = static_cast<float>(static_cast<double>(curve.at<float>(0, i)) * norm);
  }
}

std::vector<RotationPeak> rotation_peaks(const std::vector<float>& by_shift, int most) {
  const int n = static_cast<int>(by_shift.size());
  std::vector<RotationPeak> peaks;
  const auto at = [&](int i) { return static_cast<double>(by_shift[(i % n + n) % n]); };
  std::vector<std::pair<double, int>> tops;
  for (int i = 0; i < n; ++i) {
    bool top = true;
    for (int d = 1; d <= 3 && top; ++d) top = at(i) >= at(i - d) && at(i) > at(i + d);
    if (top) tops.emplace_back(at(i), i);
  }
  std::sort(tops.begin(), tops.end(), [](const auto& a, const auto& b) {
    return a.first != b.first ? a.first > b.first : a.second < b.second;
  });
  for (const auto& [value, i] : tops) {
    if (static_cast<int>(peaks.size()) >= most) break;
    const double bend = at(i - 1) - 2.0 * value + at(i + 1);
    const double fine =
        bend < 0.0 ? std::clamp(0.5 * (at(i - 1) - at(i + 1)) / bend, -0.5, 0.5) : 0.0;
    const double shift = (i > n / 2 ? i - n : i) + fine;
    peaks.push_back({shift * 2.0 * std::numbers::pi / n, value});
  }
  return peaks;
}

}  // namespace rhumb::eye
