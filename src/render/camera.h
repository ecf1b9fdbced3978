// From light on the sensor to the picture that a recorder keeps.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <vector>

#include "render/stage.h"

namespace rhumb::render {

// A picture as coded: limited-range luma and half-size chroma by ITU-R BT.709, 8 bit.
struct Picture {
  cv::Mat luma, cb, cr;
};

class Camera {
 public:
  // `threads` at least 1; it changes the speed, never a byte.
  Camera(const Stage& stage, int threads);

  // The picture exposed round `time_s`; `number` keys its noise. Interlaced cameras weave two
  // fields, the upper first, half a frame time apart.
  Picture take(double time_s, std::int64_t number);

 private:
  void expose(double time_s, int first_row, int row_step);
  void blur(double sigma_px);
  void develop(double gain, std::int64_t number, double clock_s, Picture& picture);
  int exposures_for(double time_s) const;

  const Stage& stage_;
  int threads_;
  std::vector<Vec4> light_;
  std::vector<Vec4> scratch_;
  std::vector<float> tone_;
};

// BGR of a picture, for still photographs.
cv::Mat bgr_of(const Picture& picture);

}  // namespace rhumb::render
