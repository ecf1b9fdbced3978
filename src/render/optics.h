// Where points of the eye appear in the picture: an orthographic view of a sphere that refracts.
//
// Frames: eye (scene.h); scene: millimetres, x to the examiner's right and y to the forehead of an
// upright patient, z to the observer, fixed to the microscope; picture: pixels, x right, y down.
#pragma once

#include <Eigen/Core>

#include "render/scene.h"

namespace rhumb::render {

// The surfaces of one eye, from its description.
struct Surfaces {
  double limbus_a_mm = 5.9;  // semi-axes of the limbal ellipse
  double limbus_b_mm = 5.4;
  double limbus_turn_rad = 0.0;
  double limbus_mean_mm = 5.65;
  double cornea_radius_mm = 7.8;
  double cornea_centre_z = -5.3;
  double apex_z = 2.5;
  double sclera_radius_mm =
      11.8;  // in coordinates in which the limbus is a circle of its mean radius
  double sclera_centre_z = -10.2;
  double refractive_index = 1.3375;
  double iris_z = -1.1;
  double lens_z = -2.0;
  double turning_z =
      -10.9;  // centre of rotation: 13.5 mm behind the apex (common practice, no source)
};
Surfaces surfaces_of(const Eyeball& eye);

// The sclera is described in coordinates in which its limbus is a circle of its mean radius: the
// symmetric map to them from the eye's x and y.
Eigen::Matrix2d circle_from_eye(const Surfaces& surfaces);

// How the eye lies at one instant.
struct Pose {
  double torsion_rad = 0.0;  // counter-clockwise seen from the front
  double tilt_x_rad = 0.0;   // about x: positive looks down
  double tilt_y_rad = 0.0;   // about y: positive looks to the examiner's right
  double shift_x_mm = 0.0;
  double shift_y_mm = 0.0;
};

struct Ray {
  Eigen::Vector3d origin;     // on the cornea
  Eigen::Vector3d direction;  // inside the eye, unit length
};

class View {
 public:
  View(const Surfaces& surfaces, const Pose& pose, const Microscope& microscope, int width,
       int height);

  const Surfaces& surfaces() const { return surfaces_; }
  double px_per_mm() const { return px_per_mm_; }
  const Eigen::Matrix2d& picture_from_scene() const { return picture_from_scene_; }
  const Eigen::Vector2d& picture_offset() const { return picture_offset_; }
  const Eigen::Matrix3d& scene_from_eye() const { return scene_from_eye_; }

  Eigen::Vector3d scene_from(const Eigen::Vector3d& eye) const;
  Eigen::Vector2d picture_from(const Eigen::Vector2d& scene) const {
    return picture_from_scene_ * scene + picture_offset_;
  }
  const Eigen::Matrix2d& scene_from_picture() const { return scene_from_picture_; }
  Eigen::Vector2d scene_from_picture(const Eigen::Vector2d& picture) const {
    return scene_from_picture_ * (picture - picture_offset_);
  }
  // A point in air or on the surface.
  Eigen::Vector2d project(const Eigen::Vector3d& eye) const {
    return picture_from(scene_from(eye).head<2>());
  }
  // A point behind the cornea, as refraction shows it; Newton's method on ray_from().
  Eigen::Vector2d project_inside(const Eigen::Vector3d& eye) const;
  // The line of sight through a point of the scene's plane, after refraction at the cornea.
  Ray ray_from(const Eigen::Vector2d& scene) const;
  // In eye coordinates: the line of sight's start at the scene's plane z = 0, and its direction in
  // air.
  Eigen::Vector3d sight_origin(const Eigen::Vector2d& scene) const;
  Eigen::Vector3d sight_direction() const;

 private:
  Surfaces surfaces_;
  double px_per_mm_;
  Eigen::Matrix2d picture_from_scene_;
  Eigen::Matrix2d scene_from_picture_;
  Eigen::Vector2d picture_offset_;
  Eigen::Matrix3d scene_from_eye_;
  Eigen::Vector3d offset_;
};

// The limbus in the picture: centre and mean of the two semi-axes of its projected ellipse.
struct LimbusInPicture {
  Eigen::Vector2d centre_px;
  double radius_px;
};
LimbusInPicture limbus_in(const View& view);

// Counter-clockwise turn, seen from the front, of the eye's meridian 0 in the picture against where
// it lies in an eye that is not turned; `superior` and `mirrored` are taken out.
double eye_rotation(const Pose& pose);

}  // namespace rhumb::render
