// Circular correlation of rings: the rotation between two views without a starting value.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "eye/ring.h"

namespace rhumb::eye {

// The spectra of a contrast ring along its meridians, row by row.
class RingSpectrum {
 public:
  RingSpectrum() = default;
  // contrast: shape.size() floats; values are cut at three robust deviations, so that instruments
  // do not rule.
  RingSpectrum(const RingShape& shape, const std::vector<float>& contrast);
  bool empty() const { return spectrum_.empty(); }

  // Correlation (-1..1) against each whole-column shift: element s compares this ring's column i
  // with column i + s of the other.
  void correlate(const RingSpectrum& other, std::vector<float>& by_shift) const;

 private:
  cv::Mat spectrum_;
  double energy_ = 0.0;
};

struct RotationPeak {
  double rotation_rad = 0.0;  // how far the other ring is turned counter-clockwise against this one
  double correlation = 0.0;
};

// The highest peaks of a correlation, refined by a parabola, highest first, apart by at least three
// columns.
std::vector<RotationPeak> rotation_peaks(const std::vector<float>& by_shift, int most);

}  // namespace rhumb::eye
