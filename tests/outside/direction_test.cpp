// Directions of the eye in the picture: the convention of ISO 8429 and the closed form of a tilt.
#include <Eigen/Geometry>
#include <Eigen/SVD>
#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"
#include "eye/orientation.h"
#include "eye/pose.h"

using namespace rhumb;
using casefile::Superior;

namespace {

constexpr double rad = angle::pi / 180.0;

// Clock hand on the displayed picture: degrees counter-clockwise from the viewer's right.
double displayed_deg(const Eigen::Vector2d& in_picture) {
  return angle::deg_from_rad(angle::wrap_meridian(std::atan2(-in_picture.y(), in_picture.x())));
}

double meridian_displayed_deg(Superior superior, bool mirrored, double meridian_deg) {
  const Eigen::Vector2d direction(std::cos(meridian_deg * rad), std::sin(meridian_deg * rad));
  return displayed_deg(eye::picture_from_upright(superior, mirrored) * direction);
}

double gap_deg(double a_deg, double b_deg) {
  return std::abs(angle::deg_from_rad(angle::wrap_rotation((a_deg - b_deg) * rad)));
}

}  // namespace

// ISO 8429:1986, graduated dial scale (read in a scanned copy of the standard): looking at the eye
// from outside, zero lies on the right of the horizontal, angles increase counter-clockwise, 90 is
// vertical; the scale is the same for the right and the left eye.
TEST_CASE("ISO 8429 - on an upright picture the dial is the displayed angle itself") {
  for (const double meridian_deg : {0.0, 20.0, 90.0, 135.0, 180.0, 270.0, 359.0})
    CHECK(gap_deg(meridian_displayed_deg(Superior::Top, false, meridian_deg), meridian_deg) <
          1e-10);
}

TEST_CASE("ISO 8429 - turning the picture turns the dial with the head") {
  // The forehead's meridian is 90. Where it points to the left of the picture the head lies a
  // quarter counter-clockwise, and so on.
  const struct {
    Superior superior;
    double quarter_deg;
  } rows[] = {{Superior::Left, 90.0}, {Superior::Bottom, 180.0}, {Superior::Right, 270.0}};
  for (const auto& row : rows)
    for (const double meridian_deg : {0.0, 37.0, 112.0, 300.0})
      CHECK(gap_deg(meridian_displayed_deg(row.superior, false, meridian_deg),
                    meridian_deg + row.quarter_deg) < 1e-10);
}

// The older notation was mirrored between the eyes: right 20 and left 20 there are 20 and 160 in
// ISO 8429 (optometria.it, 'Sistema TABO e cilindro negativo', seen). A mirrored recording does the
// same to a picture, and undoing it must give the axis back.
TEST_CASE("ISO 8429 - a mirrored picture shows axis 20 where 160 would lie") {
  CHECK(gap_deg(meridian_displayed_deg(Superior::Top, true, 20.0), 160.0) < 1e-10);
  CHECK(gap_deg(meridian_displayed_deg(Superior::Top, true, 160.0), 20.0) < 1e-10);
  const Eigen::Matrix2d picture = eye::picture_from_upright(Superior::Bottom, true);
  const Eigen::Vector2d axis(std::cos(112.0 * rad), std::sin(112.0 * rad));
  const Eigen::Vector2d back = picture.inverse() * (picture * axis);
  CHECK(gap_deg(angle::deg_from_rad(std::atan2(back.y(), back.x())), 112.0) < 1e-10);
}

TEST_CASE("ISO 8429 - axes are written from 0 to 180, and 180 is the same axis as 0") {
  CHECK(angle::wrap_axis(180.0 * rad) == Approx(0.0).margin(1e-12));
  CHECK(angle::wrap_axis(-10.0 * rad) == Approx(170.0 * rad));
  CHECK(angle::wrap_deviation((3.0 - 178.0) * rad) == Approx(5.0 * rad));
}

// Foreshortening: a flat figure tilted by t shrinks by cos t across the axis of the tilt, so a
// direction at a from that axis is seen at atan(tan(a) cos t); the greatest shift is asin((1 - cos
// t)/(1 + cos t)). Computed from the closed form elsewhere; the tilt here is a rotation in space,
// not that formula.
TEST_CASE(
    "a tilted eye - limbal ratio and axis error follow the closed form, and the pose undoes them") {
  const double table[][3] = {{2, .99939, 0.017},
                             {5, .99619, 0.109},
                             {10, .98481, 0.439},
                             {15, .96593, 0.993},
                             {20, .93969, 1.782}};
  for (const auto& [tilt_deg, ratio, largest_deg] : table) {
    INFO("tilt " << tilt_deg);
    const Eigen::Vector3d about(std::cos(0.4), std::sin(0.4), 0.0);
    const Eigen::Matrix3d tilt = Eigen::AngleAxisd(tilt_deg * rad, about).toRotationMatrix();
    eye::EyePose pose;
    pose.found = true;
    pose.picture_from_atlas =
        300.0 * eye::picture_from_upright(Superior::Bottom, false) * tilt.topLeftCorner<2, 2>();
    pose.offset_px = {640.0, 360.0};
    const Eigen::Vector2d stretch =
        Eigen::JacobiSVD<Eigen::Matrix2d>(pose.picture_from_atlas).singularValues();
    CHECK(stretch(1) / stretch(0) == Approx(ratio).margin(6e-6));

    double uncorrected = 0.0;
    double corrected = 0.0;
    for (double axis_deg = 0.0; axis_deg < 180.0; axis_deg += 0.25) {
      const Eigen::Vector2d half(0.4 * std::cos(axis_deg * rad), 0.4 * std::sin(axis_deg * rad));
      const Eigen::Vector2d centre(0.05, -0.03);  // of the lens, away from that of the limbus
      const Eigen::Vector2d in_picture =
          pose.picture_from(centre + half) - pose.picture_from(centre - half);
      const double read_off = displayed_deg(in_picture) - 180.0;  // forehead at the bottom
      const auto off = [&](double read_deg) {
        return std::abs(angle::deg_from_rad(angle::wrap_deviation((read_deg - axis_deg) * rad)));
      };
      uncorrected = std::max(uncorrected, off(read_off));
      const Eigen::Vector2d through_pose = pose.picture_from_atlas.inverse() * in_picture;
      corrected = std::max(
          corrected, off(angle::deg_from_rad(std::atan2(through_pose.y(), through_pose.x()))));
    }
    CHECK(uncorrected == Approx(largest_deg).margin(6e-4));
    CHECK(corrected < 1e-9);
  }
}
