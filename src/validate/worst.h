// The clips that ended worst: a picture of each and what went wrong.
#pragma once

#include <opencv2/core.hpp>
#include <string>

#include "validate/score.h"
#include "validate/suite.h"

namespace rhumb::validate {

// The frame score() names, drawn again from the scene, BGR: the true axis as white strokes beside
// the limbus, the stated one (if any) as amber strokes further out.
cv::Mat worst_picture(const Clip& clip, const ClipScore& score);

// What went wrong, from the score alone, in sentences.
std::string worst_reason(const ClipScore& score);

}  // namespace rhumb::validate
