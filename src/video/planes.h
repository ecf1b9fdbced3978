// From a decoded picture of any pixel format to 8 bit luma and half-size chroma. Inside this room
// only.
#pragma once

#include <memory>
#include <opencv2/core.hpp>

#include "video/av.h"

namespace rhumb::video {

struct Planes {
  cv::Mat luma;  // CV_8UC1
  cv::Mat cb;    // CV_8UC1, half size, rounded up
  cv::Mat cr;
  std::shared_ptr<const void> owner;  // of memory that the planes only view; may be null
};

class PlaneMaker {
 public:
  // Views where the format allows (8 bit planar 4:2:0), copies elsewhere. More than 8 bits are
  // rounded; other chroma layouts are averaged to half size; RGB and rare formats become BT.709
  // limited range.
  Planes make(av::FramePtr picture);

  // True when make() goes through a colour conversion, so that range and matrix are no longer the
  // file's.
  static bool converts_colour(int pixel_format);

 private:
  av::FramePtr to_yuv420(const AVFrame& picture);
  av::ScalerPtr scaler_;
};

}  // namespace rhumb::video
