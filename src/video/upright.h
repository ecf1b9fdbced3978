// Square pixels, the recording's one size, and the display matrix. Inside this room only.
#pragma once

#include <array>
#include <cstdint>
#include <opencv2/core.hpp>

#include "video/av.h"
#include "video/planes.h"

namespace rhumb::video {

// One of the eight ways to lay a picture: mirrored left to right first, then turned clockwise.
struct Lay {
  bool flipped = false;
  int quarter_turns = 0;  // clockwise, 0..3
  bool is_exact = true;   // false when the matrix asked for another angle and was rounded
};

// From a display matrix as libavutil/display.h describes it (nine numbers; the first 2x2 count).
Lay lay_from_matrix(const std::array<std::int32_t, 9>& matrix);
// Of a stream or, when it carries none, of its first picture.
Lay lay_of(const AVStream& stream, const AVFrame& first);

// Size of the picture with square pixels, before it is laid upright.
cv::Size square_size(const AVFrame& picture, const AVStream& stream);

// Resizes (where needed) and lays the planes.
void make_upright(Planes& planes, cv::Size size, const Lay& lay);

}  // namespace rhumb::video
