// What a person's clicks on one frame say by themselves: the limbus, the turn of the eye, meridian
// 0.
#pragma once

#include <optional>
#include <span>
#include <string>

#include "analyze/passes.h"
#include "analyze/references.h"
#include "casefile/case.h"
#include "eye/pose.h"

namespace rhumb::analyze {

// What is taken for granted about people and about what can't be seen. Where no source is named:
// common practice, no source.
struct HandOptions {
  double click_sd_px = 2.0;  // of one click on a lens mark or a point of the limbus
  double ink_sd_rad =
      0.0175;  // 1 degree: of judging the middle of an ink mark, a millimetre (10 degrees) wide
  double ink_apart_rad =
      0.105;  // 6 degrees: marks further from their stated places are other marks, or disordered
  double tilt_se_rad =
      0.005;  // of an axis in a frame whose tilt isn't known: 10 degrees cost 0.44 at most
  double turn_se_rad = 0.009;  // of the eye's turn, taken over from frames beside
  double turn_rate_se_rad_s = 0.0175;
  double limbus_apart =
      0.12;  // limbal radii between the limbus by hand and the one found: not the same eye
  double refraction_se_rad =
      0.006;  // of the direction between two marks seen through the cornea; docs/method.md
  double least_apart = 0.3;  // limbal radii between the two ends of a lens's marks
  double farthest = 0.8;     // limbal radii of a lens mark from the limbus centre
  double follow_s = 10.0;    // marks are followed at most this far from the frame that was clicked
  double hold_s = 0.5;       // and taken to lie still this long beyond what could be followed
  double move_rate_hz =
      0.25;  // how often a resting lens is moved: as in timeline::AxisModelOptions
  double creep_rad =
      0.005;  // of a resting lens in one second of not being seen; grows with the root of time
};

struct HandCircle {
  Eigen::Vector2d centre_px = Eigen::Vector2d::Zero();
  double radius_px = 0.0;
  double scatter_px = 0.0;  // root mean square distance of the points from it
};

// Least squares over the distances (Gauss-Newton from Kasa's linear fit: IEEE Trans Instrum Meas
// 1976;25:8-14, from memory). Nothing for points on a line or fewer than three.
std::optional<HandCircle> circle_through(std::span<const casefile::PointPx> points);

struct HandZero {
  double zero_rad = 0.0;  // eye meridian = atlas angle + this
  double se_rad = 0.0;
  double worst_rad = 0.0;  // of the marks from their own mean
  int marks = 0;
};

// Meridian 0 from ink clicked in a frame whose pose is known. meridians_rad: where each mark was
// put, same order.
HandZero zero_by_ink(std::span<const casefile::PointPx> ink, std::span<const double> meridians_rad,
                     const eye::EyePose& pose, const HandOptions& options);

// The stated meridians of the case's ink; empty without an ink reference.
std::vector<double> ink_meridians(const casefile::Case& stated);

// The frame that is shown at a time: the nearest. Nothing where none lies within a frame and a half
// of it.
std::optional<std::size_t> frame_at(std::span<const SeenFrame> frames, double time_s);

// Adds to the tie what the anchors' ink says, in frames whose pose is known. Ink by hand that
// contradicts what was found stands, and a warning says so; ink whose marks contradict each other
// does not. Call after tie_to_meridians.
void tie_by_hand(const casefile::Case& stated, const Pass& pass, Tie& tie,
                 const HandOptions& options = {});

// A pose from limbus points and, for the turn, from ink clicked in the same frame or from the
// frames beside it.
struct HandPose {
  eye::EyePose pose;  // pose.found is false where the turn is unknown
  HandCircle limbus;
  double turn_se_rad = 0.0;
  bool turn_from_ink = false;
};
// upright: eye::picture_from_upright of the case. zero_rad: the tie's. Nothing with fewer than five
// limbus points.
std::optional<HandPose> pose_by_hand(const casefile::Case& stated, const casefile::Anchor& anchor,
                                     std::span<const SeenFrame> frames, std::size_t frame,
                                     double zero_rad, const HandOptions& options);

}  // namespace rhumb::analyze
