// An iris whose texture is displaced along the circle by a known amount.
#include "eye/iris_strip.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace {

using rhumb::eye::bending;
using rhumb::eye::EyePose;
using rhumb::eye::iris_strip;

constexpr int side = 640;
constexpr double radius_px = 240.0;

// Fibres and patches about the limbal radius given, in the eye's own polar coordinates.
double brightness(double meridian, double distance) {
  const double fibres = std::sin(67.0 * meridian + 9.0 * std::sin(5.0 * meridian)) +
                        std::sin(41.0 * meridian - 30.0 * distance);
  const double patches =
      std::sin(13.0 * meridian + 40.0 * distance) * std::cos(7.0 * meridian - 55.0 * distance);
  return 120.0 + 22.0 * fibres + 25.0 * patches;
}

// `along(meridian)`: how far counter-clockwise the texture lies beside its place, limbal radii.
template <typename Along>
cv::Mat iris(const Along& along, const Eigen::Vector2d& shift = Eigen::Vector2d::Zero()) {
  cv::Mat1b picture(side, side);
  const double middle = 0.5 * (side - 1);
  for (int row = 0; row < side; ++row) {
    for (int col = 0; col < side; ++col) {
      const Eigen::Vector2d at = Eigen::Vector2d(col - middle, middle - row) / radius_px - shift;
      const double distance = at.norm();
      const double meridian = std::atan2(at.y(), at.x());
      picture(row, col) = cv::saturate_cast<std::uint8_t>(
          brightness(meridian - along(meridian) / std::max(0.1, distance), distance));
    }
  }
  return picture;
}

EyePose pose() {
  EyePose pose;
  pose.found = true;
  pose.picture_from_atlas << radius_px, 0.0, 0.0, -radius_px;
  pose.offset_px = Eigen::Vector2d::Constant(0.5 * (side - 1));
  return pose;
}

double none(double) { return 0.0; }

}  // namespace

TEST_CASE("the strip shows meridians from 0 counter-clockwise, distances from the inner rim") {
  const auto strip = iris_strip(iris(none), pose());
  const rhumb::eye::IrisStripGeometry geometry;
  REQUIRE(strip.rows == geometry.rows);
  REQUIRE(strip.cols == geometry.columns);
  for (const int col : {0, 90, 333}) {
    const double meridian = 2.0 * std::numbers::pi * col / geometry.columns;
    CHECK(strip(10, col) == Approx(brightness(meridian, 0.76)).margin(4.0));
  }
}

TEST_CASE("the bending of an iris is what its sectors are displaced by") {
  const auto straight = iris_strip(iris(none), pose());
  CHECK(bending(straight, straight).value() < 1e-5);
  // Five waves round the circle: of 24 sectors, 15 degrees of phase apart, the upper median of the
  // sine's size is sin(52 deg); a sector 24 degrees wide averages sin(60 deg) / 60 deg = 0.83 of a
  // wave of 72 degrees.
  const double expected = 1.4826 * 0.79 * 0.83;
  const auto measured = [&](double amplitude) {
    const auto along = [&](double meridian) { return amplitude * std::sin(5.0 * meridian + 0.4); };
    return bending(iris_strip(iris(along), pose()), straight).value() / (expected * amplitude);
  };
  CHECK(measured(0.006) == Approx(1.0).margin(0.12));
  CHECK(measured(0.003) == Approx(1.0).margin(0.12));
  // A tenth of a column: what is sampled twice is drawn to its place.
  CHECK(measured(0.001) > 0.7);
  CHECK(measured(0.001) < 1.1);
}

TEST_CASE("a turn, a shift and a change of light bend nothing") {
  const auto straight = iris_strip(iris(none), pose());
  CHECK(bending(iris_strip(iris([](double) { return 0.004; }), pose()), straight).value() < 2e-4);
  CHECK(bending(iris_strip(iris(none, {0.004, -0.003}), pose()), straight).value() < 3e-4);
  cv::Mat darker;
  iris(none).convertTo(darker, CV_8U, 0.7, 5.0);
  CHECK(bending(iris_strip(darker, pose()), straight).value() < 1e-4);
}

TEST_CASE("of an iris that is covered nothing is said") {
  const auto straight = iris_strip(iris(none), pose());
  cv::Mat covered = iris(none);
  covered.rowRange(0, side / 2 + 60).setTo(90);
  CHECK_FALSE(bending(iris_strip(covered, pose()), straight));
}
