// Where the eye lies in one picture.
//
// Two frames of reference:
//   picture: pixels, origin in the centre of the top left pixel, x right, y down;
//   atlas:   the limbal plane of this eye, unit = its mean limbal radius, origin = limbus centre,
//   the point of
//            meridian m and radius r at (r cos m, r sin m): x to the examiner's right, y up, so
//            angles are counter-clockwise seen from the front. `superior` and `mirrored` of the
//            case are taken out already; what is left between atlas and true meridians is one
//            constant angle per recording, which the reference room finds.
#pragma once

#include <Eigen/LU>
#include <vector>

namespace rhumb::eye {

// An ellipse in picture coordinates. The limbus is the middle of the transition from clear cornea
// to sclera.
struct LimbusEllipse {
  Eigen::Vector2d centre_px = Eigen::Vector2d::Zero();
  double semi_major_px = 0.0;
  double semi_minor_px = 0.0;
  double angle_rad =
      0.0;  // from picture x towards picture y (clockwise as displayed), of the major axis
  double arc_share = 0.0;  // share of the circumference with an edge that supports it, 0..1
  double mean_radius_px() const { return 0.5 * (semi_major_px + semi_minor_px); }
};

// point_in_picture = offset_px + picture_from_atlas * point_in_atlas, for points of the limbal
// plane.
struct EyePose {
  bool found = false;
  Eigen::Matrix2d picture_from_atlas = Eigen::Matrix2d::Identity();
  Eigen::Vector2d offset_px = Eigen::Vector2d::Zero();
  // Shift in atlas units of points one limbal radius nearer the observer than the limbal plane:
  // what the eye's tilt against the atlas's own mean pose does to depth. Points behind the plane
  // shift the other way.
  Eigen::Vector2d parallax = Eigen::Vector2d::Zero();
  double rotation_rad =
      0.0;  // counter-clockwise turn of the eye in the picture, from the atlas's own
  double rotation_se_rad = 0.0;  // its standard error
  double shear_se =
      0.0;  // standard error of the non-similarity part of the linear map (dimensionless)
  double ring_share = 0.0;  // share of the limbal ring that agreed with the atlas, 0..1
  std::vector<float>
      sector_weight;  // agreement by sector of atlas meridian, from 0, counter-clockwise

  Eigen::Vector2d picture_from(const Eigen::Vector2d& atlas) const {
    return offset_px + picture_from_atlas * atlas;
  }
  Eigen::Vector2d atlas_from(const Eigen::Vector2d& picture_px) const {
    return picture_from_atlas.inverse() * (picture_px - offset_px);
  }
};

}  // namespace rhumb::eye
