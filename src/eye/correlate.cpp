#include "eye/correlate.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace rhumb::eye {
namespace {

// Harmonics along the meridian below this are left out: an oval limbus, light that falls off and a
// lid's edge are as broad as 45 degrees, stand still while the eye turns, and outweigh vessels.
constexpr int lowest_order = 8;

// Removes what is broader from a ring, in place.
void keep_detail(cv::Mat& ring) {
  cv::Mat spectrum;
  cv::dft(ring, spectrum, cv::DFT_ROWS);
  // Packed: the real part of order 0, then real and imaginary parts in turn.
  spectrum.colRange(0, 2 * lowest_order - 1).setTo(0.0);
  cv::dft(spectrum, ring, cv::DFT_INVERSE | cv::DFT_SCALE | cv::DFT_REAL_OUTPUT | cv::DFT_ROWS);
}

// Cuts values at three robust standard deviations, so that instruments do not rule.
void cut_extremes(cv::Mat& ring) {
  std::vector<float> sizes;
  const float* value = ring.ptr<float>();
  for (std::size_t i = 0; i < ring.total(); i += 3) {
    if (value[i] != 0.0F) sizes.push_back(std::abs(value[i]));
  }
  if (sizes.empty()) return;
  const auto middle = sizes.begin() + static_cast<std::ptrdiff_t>(sizes.size() / 2);
  std::nth_element(sizes.begin(), middle, sizes.end());
  const double cut = 3.0 * 1.4826 * static_cast<double>(*middle);
  cv::min(ring, cut, ring);
  cv::max(ring, -cut, ring);
}

// Divides a ring by its own strength round about, so that every part of it counts alike: what does
// not turn with the eye (a wire, a lid, the skin) is often stronger than vessels, seldom larger.
void level_strength(cv::Mat& ring, const cv::Mat& seen) {
  const int half = ring.cols / 36, height = ring.rows / 4;  // 20 degrees and a quarter of the rows
  cv::Mat square = ring.mul(ring), strength;
  cv::copyMakeBorder(square, square, 0, 0, half, half, cv::BORDER_WRAP);
  cv::blur(square, strength, {2 * half + 1, 2 * (height / 2) + 1});
  strength = strength.colRange(half, half + ring.cols);
  // Where next to nothing is, noise is not made into something.
  const double floor = 0.25 * cv::mean(strength, seen)[0];
  cv::sqrt(strength + floor + 1e-12, strength);
  cv::divide(ring, strength, ring);
}

}  // namespace

RingSpectrum::RingSpectrum(const RingShape& shape, const std::vector<float>& contrast) {
  cv::Mat ring = cv::Mat(shape.rows, shape.meridians, CV_32FC1,
                         const_cast<float*>(contrast.data()))  // read only: copied at once
                     .clone();
  const cv::Mat seen = ring != 0.0F;
  if (cv::countNonZero(seen) == 0) return;
  // Before, so that an instrument does not ring through the whole row; after, so that it counts
  // for no more than a vessel.
  cut_extremes(ring);
  keep_detail(ring);
  cut_extremes(ring);
  level_strength(ring, seen);
  ring.setTo(0.0, ~seen);
  for (int k = 0; k < shape.rows; ++k) ring.row(k) *= std::sqrt(shape.radius[k]);
  energy_ = ring.dot(ring);
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
