#include "followup/curvature.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace rhumb::followup {

Curvature curvature_of(const cv::Mat& picture, double sigma_px) {
  cv::Mat smooth, xx, yy, xy;
  cv::GaussianBlur(picture, smooth, cv::Size(), sigma_px);
  cv::Sobel(smooth, xx, CV_32F, 2, 0, 3, 0.25);
  cv::Sobel(smooth, yy, CV_32F, 0, 2, 3, 0.25);
  cv::Sobel(smooth, xy, CV_32F, 1, 1, 3, 0.25);
  Curvature out{cv::Mat(smooth.size(), CV_32F), cv::Mat(smooth.size(), CV_32F)};
  for (int y = 0; y < smooth.rows; ++y)
    for (int x = 0; x < smooth.cols; ++x) {
      const float a = xx.at<float>(y, x), b = yy.at<float>(y, x), c = xy.at<float>(y, x);
      const float mean = -0.5F * (a + b), half = std::hypot(0.5F * (a - b), c);
      out.lesser.at<float>(y, x) = std::copysign(std::max(0.0F, std::abs(mean) - half), mean);
      out.mean.at<float>(y, x) = mean;
    }
  return out;
}

}  // namespace rhumb::followup
