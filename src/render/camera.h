// From light on the sensor to the picture that a recorder keeps.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <string>
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
  // Middle and one flank of a Gaussian; one tap for next to nothing.
  static std::vector<float> kernel_of(double sigma_px);
  // Exposes rows and blurs each along itself.
  void expose(double time_s, int first_row, int row_step, const std::vector<float>& kernel);
  // Row y blurred across rows.
  void blurred_row(int y, const std::vector<float>& kernel, Vec4* out) const;
  // The recorder's text in white on black; empty without any.
  cv::Mat lettering(double clock_s);
  void develop(double gain, const std::vector<float>& kernel, std::int64_t number, double clock_s,
               Picture& picture);
  // The instants that a picture is made of, and the part of it in which they differ.
  struct Exposures {
    int count = 1;
    std::vector<Instant> instants;
    int x0 = 0, x1 = 0, y0 = 0, y1 = 0;
  };
  Exposures exposures_for(double time_s) const;

  const Stage& stage_;
  int threads_;
  std::vector<Vec4> light_;
  // What a thread works in, kept from picture to picture.
  struct Scratch {
    std::vector<Vec4> light, sum;
    std::vector<float> luma, blue, red;
  };
  std::vector<Scratch> scratch_;
  std::vector<float> tone_;
  std::string lettered_;  // what letters_ shows
  cv::Mat letters_;
};

// BGR of a picture, for still photographs.
cv::Mat bgr_of(const Picture& picture);

}  // namespace rhumb::render
