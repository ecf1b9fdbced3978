#include "report/stills.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "report/base64.h"

namespace rhumb::report {
namespace {

Eigen::Matrix2d turn(double rad) {
  Eigen::Matrix2d matrix;
  matrix << std::cos(rad), -std::sin(rad), std::sin(rad), std::cos(rad);
  return matrix;
}

// Around the eye with the same margin as the straightened picture; all of it without a pose.
cv::Rect around(const eye::EyePose& pose, const cv::Size& size, double half_side) {
  const cv::Rect whole(cv::Point(), size);
  if (!pose.found) return whole;
  const double radius = half_side * std::sqrt(std::abs(pose.picture_from_atlas.determinant()));
  if (!(radius > 4.0 && radius < 1e5)) return whole;
  const cv::Rect wanted(static_cast<int>(std::floor(pose.offset_px.x() - radius)),
                        static_cast<int>(std::floor(pose.offset_px.y() - radius)),
                        static_cast<int>(std::ceil(2.0 * radius)),
                        static_cast<int>(std::ceil(2.0 * radius)));
  const cv::Rect inside = wanted & whole;
  return inside.area() > 0 ? inside : whole;
}

cv::Mat no_larger(const cv::Mat& picture, int width) {
  if (picture.cols <= width) return picture;
  cv::Mat small;
  const double factor = static_cast<double>(width) / picture.cols;
  cv::resize(picture, small, cv::Size(), factor, factor, cv::INTER_AREA);
  return small;
}

}  // namespace

cv::Mat straightened(const cv::Mat& picture, const eye::EyePose& pose, double zero_rad,
                     const StillOptions& options) {
  const double step = 2.0 * options.half_side / options.size_px;  // limbal radii a pixel
  const double middle = 0.5 * (options.size_px - 1);
  Eigen::Matrix2d eye_from_still;
  eye_from_still << step, 0.0, 0.0, -step;
  const Eigen::Matrix2d linear = pose.picture_from_atlas * turn(-zero_rad) * eye_from_still;
  const Eigen::Vector2d offset = pose.offset_px - linear * Eigen::Vector2d(middle, middle);
  const cv::Matx23d picture_from_still(linear(0, 0), linear(0, 1), offset.x(), linear(1, 0),
                                       linear(1, 1), offset.y());
  cv::Mat still;
  cv::warpAffine(picture, still, picture_from_still, cv::Size(options.size_px, options.size_px),
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_CONSTANT,
                 cv::Scalar(40, 36, 32));
  return still;
}

std::string jpeg_uri(const cv::Mat& picture, int quality) {
  if (picture.empty()) return {};
  std::vector<std::uint8_t> bytes;
  cv::imencode(".jpg", picture, bytes, {cv::IMWRITE_JPEG_QUALITY, quality});
  return "data:image/jpeg;base64," + base64(bytes);
}

Still make_still(const cv::Mat& picture, const outcome::EvidenceFrame& evidence, double zero_rad,
                 const StillOptions& options) {
  Still still;
  if (evidence.pose.found)
    still.straight_uri =
        jpeg_uri(straightened(picture, evidence.pose, zero_rad, options), options.jpeg_quality);
  const cv::Rect crop = around(evidence.pose, picture.size(), options.half_side);
  still.recorded_uri =
      jpeg_uri(no_larger(picture(crop), options.recorded_width_px), options.jpeg_quality);
  // Pixel centres are whole numbers, so the picture begins half a pixel before the first.
  still.recorded_px = cv::Rect2d(crop.x - 0.5, crop.y - 0.5, crop.width, crop.height);
  return still;
}

}  // namespace rhumb::report
