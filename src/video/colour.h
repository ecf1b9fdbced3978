// Colour pictures from decoded planes, where somebody needs them (stills, annotated videos).
#pragma once

#include <memory>
#include <opencv2/core.hpp>

#include "video/facts.h"
#include "video/frame.h"

namespace rhumb::video {

// Keeps its tables between pictures of one recording; one per thread.
class ColourMaker {
 public:
  // Range and matrix (ITU-R BT.601, BT.709 or BT.2020) are those of the recording.
  explicit ColourMaker(const StreamFacts& facts);
  ~ColourMaker();
  ColourMaker(const ColourMaker&) = delete;
  ColourMaker& operator=(const ColourMaker&) = delete;

  // CV_8UC3 in OpenCV's order (blue, green, red), full range, a new matrix each time.
  cv::Mat bgr(const Frame& frame);

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace rhumb::video
