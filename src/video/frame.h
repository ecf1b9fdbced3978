// One picture of a recording, as every other room sees it.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>

namespace rhumb::video {

// Planes are upright (display rotation applied), progressive (de-interlaced) and 8 bit. They are views that
// may share memory with the decoder; they stay valid for the life of the Frame.
struct Frame {
  std::int64_t index = 0;  // row of the timeline: pictures in presentation order over all parts, from 0
  double time_s = 0.0;     // presentation time since the first picture of the recording
  bool damaged = false;    // the decoder concealed errors in it
  cv::Mat luma;            // CV_8UC1, full picture, as coded (limited range stays limited: see VideoFacts)
  cv::Mat cb;              // CV_8UC1, half width and half height (whatever the source's chroma layout)
  cv::Mat cr;              // CV_8UC1, the same
};

}  // namespace rhumb::video
