// One picture of a recording, as every other room sees it.
#pragma once

#include <cstdint>
#include <memory>
#include <opencv2/core.hpp>

namespace rhumb::video {

// Planes are upright (display rotation applied), square-pixelled, progressive (de-interlaced) and 8
// bit. They may share memory with the decoder and with copies of this Frame: read them, never write
// to them. They stay valid for the life of the Frame (and of its copies), not longer; clone() a
// plane to keep it.
struct Frame {
  std::int64_t index =
      0;  // row of the timeline: pictures in presentation order over all parts, from 0
  double time_s = 0.0;   // presentation time since the first picture of the recording
  bool damaged = false;  // the decoder concealed errors in it
  bool is_key = false;   // decoded by itself, so that Reader can begin there; unknown: false
  cv::Mat luma;  // CV_8UC1, full picture, as coded (limited range stays limited: see StreamFacts)
  cv::Mat cb;    // CV_8UC1, half width and half height (whatever the source's chroma layout)
  cv::Mat cr;    // CV_8UC1, the same
  std::shared_ptr<const void> owner;  // keeps the memory of the planes alive
};

}  // namespace rhumb::video
