// The limbus in an averaged ring against the closed form of what was painted: an ellipse of small
// flattening, r(m) = rho + cx cos m + cy sin m + e cos 2(m - angle).
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

#include "eye/ring_limbus.h"

namespace {

using namespace rhumb;

struct Painted {
  double rho = 1.01;
  Eigen::Vector2d centre{0.012, -0.018};
  double flat = 0.025;
  double angle_rad = 0.2;
  double shadow = 0.0;  // of a lid over the sclera about 90 degrees: share of the light it takes
  double shadow_width_rad = 0.5;
  bool coloured = true;   // the step shows in colour too
  double out_from = 2.0;  // the picture ends here below, limbal radii along the meridian of 270
};

double radius_at(const Painted& p, double m) {
  return p.rho + p.centre.x() * std::cos(m) + p.centre.y() * std::sin(m) +
         p.flat * std::cos(2.0 * (m - p.angle_rad));
}

eye::RingPlanes paint(const Painted& p, const eye::RingShape& shape) {
  eye::RingPlanes planes;
  for (cv::Mat& plane : planes.value) plane = cv::Mat(shape.rows, shape.meridians, CV_32FC1);
  planes.seen = cv::Mat(shape.rows, shape.meridians, CV_32FC1, cv::Scalar(1.0));
  cv::RNG rng(7);
  for (int i = 0; i < shape.meridians; ++i) {
    const double m = 2.0 * std::numbers::pi * i / shape.meridians;
    const double edge = radius_at(p, m);
    const double under_lid =
        std::exp(-std::pow((m - 0.5 * std::numbers::pi) / p.shadow_width_rad, 2.0));
    const double tint = p.coloured ? 1.0 : 0.0;
    for (int k = 0; k < shape.rows; ++k) {
      const double r = static_cast<double>(shape.radius[static_cast<std::size_t>(k)]);
      const double white = 0.5 * (1.0 + std::erf((r - edge) / (0.03 * std::numbers::sqrt2)));
      const double light = 1.0 - p.shadow * under_lid * white;
      planes.value[0].at<float>(k, i) =
          static_cast<float>((90.0 + 90.0 * white) * light + rng.gaussian(3.0));
      planes.value[1].at<float>(k, i) =
          static_cast<float>((-7.0 + tint * (10.0 * white - 5.0)) * light + rng.gaussian(0.6));
      planes.value[2].at<float>(k, i) =
          static_cast<float>((10.0 + tint * (5.0 - 9.0 * white)) * light + rng.gaussian(0.6));
      if (-r * std::sin(m) < p.out_from) continue;
      planes.seen.at<float>(k, i) = 0.0F;
      for (cv::Mat& plane : planes.value) plane.at<float>(k, i) = 0.0F;
    }
  }
  return planes;
}

eye::LimbusInAtlas find_in(const Painted& painted) {
  const eye::RingShape shape = eye::make_ring_shape(768, 64, 0.72, 1.6, 2.0);
  return eye::find_ring_limbus(paint(painted, shape), shape);
}

// By default within half of what is asked of recordings: 1.5 % of the radius for the centre, 2 %
// for the radius.
void check_found(const Painted& painted, double centre = 0.0075, double radius = 0.01) {
  const eye::LimbusInAtlas found = find_in(painted);
  CHECK((found.centre - painted.centre).norm() < centre);
  CHECK(0.5 * (found.semi_major + found.semi_minor) == Approx(painted.rho).margin(radius));
  CHECK(0.5 * (found.semi_major - found.semi_minor) == Approx(painted.flat).margin(0.006));
}

}  // namespace

TEST_CASE("the limbus of a clear ring is where it was painted") { check_found({}, 0.003, 0.005); }

TEST_CASE("a lid's shadow that takes the step of brightness hardly moves the limbus") {
  Painted shaded;
  shaded.shadow = 0.5;
  check_found(shaded);
}

TEST_CASE("colour takes at least a third off what a wide shadow does to the limbus") {
  Painted shaded;
  shaded.shadow = 0.5;
  shaded.shadow_width_rad = 1.2;
  const double with_colour = (find_in(shaded).centre - shaded.centre).norm();
  shaded.coloured = false;
  const double without = (find_in(shaded).centre - shaded.centre).norm();
  CHECK(without > 0.01);  // the shadow is one that matters
  CHECK(with_colour < 0.67 * without);
}

TEST_CASE("what lies outside the picture says nothing of the limbus") {
  Painted cut;
  cut.out_from = 1.02;
  check_found(cut);
}

TEST_CASE("the centre's uncertainty is that of the arc that is seen") {
  const auto sd = [](const eye::LimbusInAtlas& found, int axis) {
    return std::sqrt(found.centre_cov(axis, axis));
  };
  // Twelve independent edges of 0.015: sqrt(2 / 12) of it, closed form of a full circle.
  const eye::LimbusInAtlas whole = find_in({});
  CHECK(sd(whole, 0) == Approx(0.0061).epsilon(0.25));
  CHECK(sd(whole, 1) == Approx(0.0061).epsilon(0.25));
  // Without its lower half a circle's height trades with its size, its side does not.
  Painted half;
  half.out_from = 0.1;
  const eye::LimbusInAtlas cut = find_in(half);
  CHECK(sd(cut, 1) > 0.03);
  CHECK(sd(cut, 0) < 0.5 * sd(cut, 1));
  CHECK((cut.centre - half.centre).norm() < 2.0 * sd(cut, 1));
}

TEST_CASE("a ring of which next to nothing was seen has no limbus") {
  Painted dark;
  dark.out_from = -2.0;
  CHECK(find_in(dark).arc_share == 0.0);
}
