// From decoded pictures of one recording to Frames of one size and lay. Inside this room only.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "video/facts.h"
#include "video/frame.h"
#include "video/part.h"
#include "video/planes.h"
#include "video/upright.h"

namespace rhumb::video {

// Adds a remark, once.
void add_note(StreamFacts& facts, const std::string& text);

class FrameMaker {
 public:
  // Learns size, lay, range and matrix from the first picture and writes them, with remarks, into
  // `facts`.
  FrameMaker(const Part& part, const AVFrame& first, bool honour_rotation, StreamFacts& facts);

  // Planes only: the caller sets index, time and damage. A picture of another size is brought to
  // the first's.
  Frame make(const Part& part, av::FramePtr picture, StreamFacts& facts);

  // The same of a picture that stands alone: of an interlaced one, the first field's lines are kept
  // and the others put half way between them.
  Frame make_alone(const Part& part, av::FramePtr picture, StreamFacts& facts);

 private:
  Frame finish(Planes planes) const;

  PlaneMaker planes_;
  cv::Size size_;
  Lay lay_;
};

}  // namespace rhumb::video
