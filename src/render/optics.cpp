#include "render/optics.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <cmath>

namespace rhumb::render {

Surfaces surfaces_of(const Eyeball& eye) {
  Surfaces s;
  s.limbus_a_mm = 0.5 * eye.white_to_white_mm;
  s.limbus_b_mm = s.limbus_a_mm * eye.limbus_ratio;
  s.limbus_turn_rad = eye.limbus_turn_rad;
  s.limbus_mean_mm = 0.5 * (s.limbus_a_mm + s.limbus_b_mm);
  const double r2 = s.limbus_mean_mm * s.limbus_mean_mm;
  s.cornea_radius_mm = eye.corneal_radius_mm;
  s.cornea_centre_z = -std::sqrt(eye.corneal_radius_mm * eye.corneal_radius_mm - r2);
  s.apex_z = s.cornea_centre_z + s.cornea_radius_mm;
  s.sclera_radius_mm = eye.scleral_radius_mm;
  s.sclera_centre_z = -std::sqrt(eye.scleral_radius_mm * eye.scleral_radius_mm - r2);
  s.refractive_index = eye.refractive_index;
  s.iris_z = s.apex_z - eye.iris_depth_mm;
  s.lens_z = s.apex_z - eye.lens_depth_mm;
  s.turning_z = s.apex_z - 13.5;
  return s;
}

Eigen::Matrix2d circle_from_eye(const Surfaces& surfaces) {
  const Eigen::Matrix2d turn = Eigen::Rotation2Dd(surfaces.limbus_turn_rad).toRotationMatrix();
  const Eigen::Vector2d stretch(surfaces.limbus_mean_mm / surfaces.limbus_a_mm,
                                surfaces.limbus_mean_mm / surfaces.limbus_b_mm);
  return turn * stretch.asDiagonal() * turn.transpose();
}

namespace {

Eigen::Matrix2d picture_from_scene(const Microscope& microscope, double scale) {
  Eigen::Matrix2d m;
  switch (microscope.superior) {
    case Superior::Top:
      m << 1, 0, 0, -1;
      break;
    case Superior::Bottom:
      m << -1, 0, 0, 1;
      break;
    case Superior::Left:
      m << 0, -1, -1, 0;
      break;
    case Superior::Right:
      m << 0, 1, 1, 0;
      break;
  }
  if (microscope.mirrored) m.row(0) *= -1.0;
  return m * scale;
}

}  // namespace

View::View(const Surfaces& surfaces, const Pose& pose, const Microscope& microscope, int width,
           int height)
    : surfaces_(surfaces),
      px_per_mm_(width / microscope.field_mm),
      picture_from_scene_(render::picture_from_scene(microscope, px_per_mm_)),
      scene_from_picture_(picture_from_scene_.inverse()),
      picture_offset_(0.5 * (width - 1) - px_per_mm_ * microscope.centre_mm[0],
                      0.5 * (height - 1) - px_per_mm_ * microscope.centre_mm[1]) {
  using Eigen::AngleAxisd;
  using Eigen::Vector3d;
  const Eigen::Matrix3d tilt = (AngleAxisd(pose.tilt_y_rad, Vector3d::UnitY()) *
                                AngleAxisd(pose.tilt_x_rad, Vector3d::UnitX()))
                                   .toRotationMatrix();
  scene_from_eye_ = tilt * AngleAxisd(pose.torsion_rad, Vector3d::UnitZ()).toRotationMatrix();
  const Vector3d pivot(0.0, 0.0, surfaces.turning_z);
  offset_ = pivot - scene_from_eye_ * pivot + Vector3d(pose.shift_x_mm, pose.shift_y_mm, 0.0);
}

Eigen::Vector3d View::scene_from(const Eigen::Vector3d& eye) const {
  return scene_from_eye_ * eye + offset_;
}

Eigen::Vector3d View::sight_origin(const Eigen::Vector2d& scene) const {
  return scene_from_eye_.transpose() * (Eigen::Vector3d(scene.x(), scene.y(), 0.0) - offset_);
}

Eigen::Vector3d View::sight_direction() const { return -scene_from_eye_.row(2).transpose(); }

Ray View::ray_from(const Eigen::Vector2d& scene) const {
  const Eigen::Vector3d direction = sight_direction();
  const Eigen::Vector3d centre(0.0, 0.0, surfaces_.cornea_centre_z);
  const Eigen::Vector3d from = sight_origin(scene) - centre;
  const double radius = surfaces_.cornea_radius_mm;
  const double b = from.dot(direction);
  const double root = std::max(0.0, b * b - from.squaredNorm() + radius * radius);
  const Eigen::Vector3d hit = from + (-b - std::sqrt(root)) * direction;
  const Eigen::Vector3d normal = hit / radius;
  const double eta = 1.0 / surfaces_.refractive_index;
  const double cosine = -direction.dot(normal);
  const double inside = std::sqrt(std::max(0.0, 1.0 - eta * eta * (1.0 - cosine * cosine)));
  return {hit + centre, eta * direction + (eta * cosine - inside) * normal};
}

Eigen::Vector2d View::project_inside(const Eigen::Vector3d& eye) const {
  const auto miss = [&](const Eigen::Vector2d& scene) -> Eigen::Vector2d {
    const Ray ray = ray_from(scene);
    const double s = (eye.z() - ray.origin.z()) / ray.direction.z();
    return (ray.origin + s * ray.direction - eye).head<2>();
  };
  Eigen::Vector2d scene = scene_from(eye).head<2>();
  constexpr double step = 1e-5;
  for (int i = 0; i < 12; ++i) {
    const Eigen::Vector2d off = miss(scene);
    if (off.norm() < 1e-10) break;
    Eigen::Matrix2d slope;
    slope.col(0) = (miss(scene + Eigen::Vector2d(step, 0)) - off) / step;
    slope.col(1) = (miss(scene + Eigen::Vector2d(0, step)) - off) / step;
    scene -= slope.inverse() * off;
  }
  return picture_from(scene);
}

LimbusInPicture limbus_in(const View& view) {
  const Surfaces& s = view.surfaces();
  const double c = std::cos(s.limbus_turn_rad);
  const double n = std::sin(s.limbus_turn_rad);
  Eigen::Matrix2d eye_from_circle;
  eye_from_circle << c * s.limbus_a_mm, -n * s.limbus_b_mm, n * s.limbus_a_mm, c * s.limbus_b_mm;
  const Eigen::Matrix2d map =
      view.picture_from_scene() * view.scene_from_eye().topLeftCorner<2, 2>() * eye_from_circle;
  // Semi-axes p, q of the image of a circle: p^2 + q^2 is the Frobenius norm squared, p q the
  // determinant.
  const double sum = std::sqrt(map.squaredNorm() + 2.0 * std::abs(map.determinant()));
  return {view.project(Eigen::Vector3d::Zero()), 0.5 * sum};
}

double eye_rotation(const Pose& pose) {
  const Eigen::Matrix3d tilt = (Eigen::AngleAxisd(pose.tilt_y_rad, Eigen::Vector3d::UnitY()) *
                                Eigen::AngleAxisd(pose.tilt_x_rad, Eigen::Vector3d::UnitX()))
                                   .toRotationMatrix();
  const Eigen::Matrix2d seen =
      tilt.topLeftCorner<2, 2>() * Eigen::Rotation2Dd(pose.torsion_rad).toRotationMatrix();
  // The turn of the nearest rotation, so that foreshortening does not count as turning.
  return std::atan2(seen(1, 0) - seen(0, 1), seen(0, 0) + seen(1, 1));
}

}  // namespace rhumb::render
