// The iris as a witness: what bends the line of sight on its way into the eye bends that to the
// iris too.
//
// The iris is seen through the same chamber as the lens. Against a time at which nothing bends, its
// texture is displaced sector by sector; that displacement is measured here.
#pragma once

#include <opencv2/core.hpp>
#include <optional>

#include "eye/pose.h"

namespace rhumb::eye {

// Rows are distances from the limbal centre, columns meridians from 0 counter-clockwise.
struct IrisStripGeometry {
  double inner = 0.66;  // limbal radii: beyond most pupils that are wide enough to operate through
  double outer = 0.88;  // and short of the limbus's soft edge
  int rows = 22;
  int columns = 480;

  double row_step() const { return (outer - inner) / rows; }
};

// luma: CV_8UC1, the whole picture. Points outside of it are 0.
cv::Mat1b iris_strip(const cv::Mat& luma, const EyePose& pose,
                     const IrisStripGeometry& geometry = {});

// By how much sectors of `strip` lie along the circle beside where they lie in `reference`:
// standard deviation over the sectors (from the median absolute deviation) once a turn and a shift
// of the whole are taken off, in limbal radii. Sectors are compared by least squares over shift,
// gain and offset (Lucas and Kanade, IJCAI 1981:674-679, from memory), and count where they
// correlate by 0.9 afterwards; nothing where under three fifths of them do.
std::optional<double> bending(const cv::Mat1b& strip, const cv::Mat1b& reference,
                              const IrisStripGeometry& geometry = {});

}  // namespace rhumb::eye
