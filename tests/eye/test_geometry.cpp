// The algebra of poses against closed forms.
#include <Eigen/SVD>
#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"
#include "eye/orientation.h"
#include "eye/register.h"

using namespace rhumb;
using casefile::Superior;

TEST_CASE("an upright eye lies in the picture as superior says") {
  // By hand: the forehead's direction is atlas y; the examiner's right, seen from the front, is a
  // quarter clockwise from it.
  struct Row {
    Superior superior;
    bool mirrored;
    Eigen::Vector2d right, up;
  };
  const Row rows[] = {
      {Superior::Top, false, {1, 0}, {0, -1}},   {Superior::Bottom, false, {-1, 0}, {0, 1}},
      {Superior::Left, false, {0, -1}, {-1, 0}}, {Superior::Right, false, {0, 1}, {1, 0}},
      {Superior::Top, true, {-1, 0}, {0, -1}},   {Superior::Left, true, {0, 1}, {-1, 0}}};
  for (const Row& row : rows) {
    const Eigen::Matrix2d m = eye::picture_from_upright(row.superior, row.mirrored);
    CHECK((m.col(0) - row.right).norm() == Approx(0.0).margin(1e-15));
    CHECK((m.col(1) - row.up).norm() == Approx(0.0).margin(1e-15));
    // y runs down in pictures: a picture that is not mirrored reverses the sense of turning.
    CHECK(m.determinant() == Approx(row.mirrored ? 1.0 : -1.0));
  }
}

TEST_CASE("a tilt of 10 degrees turns a direction at 45 degrees by the closed form") {
  // Orthographic foreshortening: tan(seen) = cos(tilt) tan(true); atan(cos 10 deg) - 45 deg =
  // -0.4386 deg.
  eye::PoseParts parts;
  parts.shear = eye::foreshortening({0.0, std::tan(angle::rad_from_deg(10.0))});
  const Eigen::Matrix2d linear = eye::linear_of(Eigen::Matrix2d::Identity(), parts);
  const Eigen::Vector2d seen = linear * Eigen::Vector2d(1.0, 1.0);
  const double expected =
      angle::deg_from_rad(std::atan(std::cos(angle::rad_from_deg(10.0)))) - 45.0;
  CHECK(expected == Approx(-0.4386).margin(5e-4));
  CHECK(angle::deg_from_rad(std::atan2(seen.y(), seen.x())) - 45.0 ==
        Approx(expected).margin(1e-9));
}

TEST_CASE("rotation, scale and shear come apart and together again") {
  const Eigen::Matrix2d upright = eye::picture_from_upright(Superior::Left, true);
  for (int i = 0; i < 40; ++i) {
    eye::PoseParts parts;
    parts.scale = 100.0 + 7.0 * i;
    parts.rotation_rad = -3.0 + 0.15 * i;
    parts.shear = {0.03 * std::sin(i), 0.05 * std::cos(2.0 * i)};
    const Eigen::Matrix2d linear = eye::linear_of(upright, parts);
    const eye::PoseParts back = eye::parts_of(upright, linear);
    CHECK(back.scale == Approx(parts.scale));
    CHECK(std::abs(angle::wrap_rotation(back.rotation_rad - parts.rotation_rad)) < 1e-12);
    CHECK((back.shear - parts.shear).norm() < 1e-12);
    // The rotation is that of the polar decomposition, here by singular values (Eigen's JacobiSVD;
    // Golub and Van Loan, Matrix Computations, section 9.4.3).
    const Eigen::JacobiSVD<Eigen::Matrix2d> svd(upright.transpose() * linear,
                                                Eigen::ComputeFullU | Eigen::ComputeFullV);
    const Eigen::Matrix2d polar = svd.matrixU() * svd.matrixV().transpose();
    CHECK(std::abs(angle::wrap_rotation(std::atan2(polar(1, 0), polar(0, 0)) - back.rotation_rad)) <
          1e-10);
  }
}
