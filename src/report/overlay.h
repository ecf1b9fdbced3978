// What is drawn over a picture of the recording for review.
//
// Everything lies outside the limbus, so that the marks of the lens and the limbus itself stay in
// plain sight: the limbus as short arcs, ticks every 30 degrees of the eye's meridians, the planned
// axis as dashes, the achieved axis as a stroke within the wedge of its 95 % interval.
#pragma once

#include <opencv2/core.hpp>

#include "outcome/outcome.h"

namespace rhumb::report {

// picture: CV_8UC3 in OpenCV's order, a picture of the recording made smaller (or larger) by
// `scale`; drawn upon.
void draw_overlay(cv::Mat& picture, const outcome::CaseOutcome& outcome,
                  const outcome::TimelineRow& row, double scale);

}  // namespace rhumb::report
