// How the eye, the lens and the instruments move: everything that depends on time.
#pragma once

#include <vector>

#include "render/optics.h"
#include "render/scene.h"

namespace rhumb::render {

// The lens in (or on its way into) the eye at one instant.
struct LensState {
  bool drawn = false;
  bool previous = false;  // which lens
  bool in_eye = false;    // its centre has passed the limbus
  double axis_rad = 0.0;  // of the marked meridian in the eye's coronal plane
  double speed_rad_s = 0.0;
  double x_mm = 0.0;  // centre
  double y_mm = 0.0;
  double unfolded = 1.0;  // 0 rolled up, 1 flat
  bool moving = false;    // turning, unfolding or travelling
};

// The lens's own axes in the eye: `along` its marked meridian (whose projection on the coronal
// plane has the meridian LensState::axis_rad), `across` and `normal` at right angles to it, unit
// length.
struct LensAxes {
  Eigen::Vector3d along, across, normal, centre;
};
LensAxes lens_axes(const LensState& state, const Lens& lens, const Surfaces& surfaces);

struct ToolState {
  Tool tool = Tool::None;
  double presence = 0.0;  // 0 out of the eye, 1 in place
  double tip_x_mm = 0.0;  // in the eye's frame, lens plane
  double tip_y_mm = 0.0;
  double port_rad = 0.0;  // meridian of the incision it goes through
  double push = 0.0;      // 0..1 how hard it leans on the eye
};

class History {
 public:
  explicit History(const Scene& scene);

  Pose pose(double t_s) const;
  LensState lens(double t_s) const;
  std::vector<ToolState> tools(double t_s) const;
  double defocus_mm(double t_s) const;
  double gain(double t_s) const;
  double light(double t_s) const;             // of the microscope's lamp, 1 usual
  double zoom(double t_s) const;              // of the magnification, 1 at the start
  Eigen::Vector2d head_mm(double t_s) const;  // how far the head has moved, along the picture
  double washed_out(double t_s) const;        // 0 viscoelastic still in, 1 out

 private:
  struct Jump {
    double at_s;
    double torsion_rad;
    double x_mm;
    double y_mm;
    double tilt_x_rad;
    double tilt_y_rad;
  };
  const Scene scene_;
  std::vector<Jump> jumps_;
  std::uint64_t key_;

  double axis_at(double t_s, bool previous) const;
};

}  // namespace rhumb::render
