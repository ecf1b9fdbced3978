// The two curvatures of a picture's brightness: spots have two of one sign, ridges and edges have
// not.
#pragma once

#include <opencv2/core.hpp>

namespace rhumb::followup {

// Both CV_32FC1, per square pixel, positive on a light spot.
struct Curvature {
  cv::Mat lesser;  // the one of smaller size, 0 where the two differ in sign
  cv::Mat mean;
};

// `picture` CV_32FC1, smoothed by a Gaussian of sigma_px first.
Curvature curvature_of(const cv::Mat& picture, double sigma_px);

}  // namespace rhumb::followup
