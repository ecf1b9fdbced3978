// Reads one contrast map along rays from many supposed lens centres.
#pragma once

#include "lens/rays.h"

namespace rhumb::lens {

class RayReader {
 public:
  // inside: CV_8UC1 pupil mask, may be empty. The map's masks must not change while it reads.
  RayReader(const ContrastMap& map, const cv::Mat1b& inside);

  // As ray_map() of the same map and mask.
  RayMap from(const Eigen::Vector2d& centre, const PatchGeometry& geometry,
              const RadialGrid& grid) const;

  // Values of the channels along a circle, and last 1 or 0 by ray for what can be used; unusable
  // values are 0.
  using Circle = std::array<std::array<float, ray_count>, channel_count + 1>;

 private:
  void read_circle(const Eigen::Vector2f& origin, float radius_px, float last,
                   Circle& circle) const;

  cv::Mat_<cv::Vec<float, channel_count>> value_;
  cv::Mat1b allowed_;  // 0 where nothing can be read
};

}  // namespace rhumb::lens
