// Rings drawn with OpenCV about other centres than the lens's go, and marks that lie on them stay.
#include "lens/ring_flatten.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

using namespace rhumb;
using namespace rhumb::lens;

namespace {

const PatchGeometry geometry;
const Eigen::Vector2d ring_middle(-0.09, 0.06);
constexpr double ring_radius = 0.45;

cv::Point2d pixel(const Eigen::Vector2d& at) {
  const Eigen::Vector2d p = geometry.pixel_from(at);
  return {p.x(), p.y()};
}

Eigen::Vector2d on_ring(double deg) {
  const double phi = deg * CV_PI / 180.0;
  return ring_middle + ring_radius * Eigen::Vector2d(std::cos(phi), std::sin(phi));
}

// A glow with a bright edge and one dark dot on it, at 40 degrees of the ring.
Patch drawn() {
  Patch patch;
  patch.luma = cv::Mat(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(120));
  patch.saturation = cv::Mat(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(90));
  const auto radius = static_cast<int>(std::lround(ring_radius * geometry.pixels_per_radius));
  cv::circle(patch.luma, pixel(ring_middle), radius, cv::Scalar(150), 2, cv::LINE_AA);
  cv::circle(patch.saturation, pixel(ring_middle), radius, cv::Scalar(60), 2, cv::LINE_AA);
  cv::circle(patch.luma, pixel(on_ring(40)), 2, cv::Scalar(90), cv::FILLED, cv::LINE_AA);
  return patch;
}

double at(const cv::Mat1f& value, double deg) {
  const cv::Point2d p = pixel(on_ring(deg));
  return static_cast<double>(value(cvRound(p.y), cvRound(p.x)));
}

}  // namespace

TEST_CASE("a bright ring about any centre is flattened, a mark on it stays") {
  ContrastMap map = contrast_map(drawn(), geometry, {});
  const ContrastMap before{
      {map.value[0].clone(), map.value[1].clone()}, map.usable, {}, map.ring.clone()};
  REQUIRE(cv::countNonZero(map.ring) > 200);
  flatten_rings(map, geometry);
  for (const double deg : {100.0, 160.0, 220.0, 280.0, 340.0}) {
    CAPTURE(deg);
    CHECK(at(before.value[0], deg) < -0.1);  // lighter
    CHECK(at(before.value[1], deg) > 0.1);   // greyer
    CHECK(std::abs(at(map.value[0], deg)) < 0.03);
    CHECK(std::abs(at(map.value[1], deg)) < 0.03);
  }
  // Against the ring that it lies on the dot is darker than against the glow.
  CHECK(at(map.value[0], 40) > 0.25);
  CHECK(cv::countNonZero(map.ring) == 0);
}

TEST_CASE("what no circle fits is left as it is") {
  ContrastMap map = contrast_map(drawn(), geometry, {});
  map.ring = 0;
  std::vector<cv::Point> zigzag;
  for (int k = 0; k < 8; ++k) zigzag.emplace_back(30 + 14 * k, k % 2 == 0 ? 50 : 110);
  cv::polylines(map.ring, zigzag, false, cv::Scalar(255), 2);
  const cv::Mat1f before = map.value[0].clone();
  flatten_rings(map, geometry);
  CHECK(cv::norm(before, map.value[0], cv::NORM_INF) == 0.0);
  CHECK(cv::countNonZero(map.ring) > 0);
}
