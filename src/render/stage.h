// One instant of the scene as light on the camera's sensor (linear, before lens blur and
// electronics).
#pragma once

#include <vector>

#include "render/motion.h"
#include "render/paint.h"

namespace rhumb::render {

// Everything that changes with time, at one instant.
struct Instant {
  View view;
  Pose pose;
  LensState lens;
  std::vector<ToolState> tools;
  Eigen::Vector2d beam_mm{0.0, 0.0};  // middle of the light, in the scene
  double time_s = 0.0;
  double ink_left = 1.0;
  double washed_out = 0.0;
  double pupil_scale = 1.0;  // pupil radius now against the painted one
};

// A reflection of a lamp, a bubble or the like that hides what lies behind it, for the readability
// of marks.
struct Disc {
  double x_px = 0.0;
  double y_px = 0.0;
  double radius_px = 0.0;
};

class Stage {
 public:
  // Paints all planes: about a second for a full-HD recording.
  explicit Stage(const Scene& scene);

  const Scene& scene() const { return scene_; }
  const History& history() const { return history_; }
  Instant at(double time_s) const;
  // Light of rows y0 .. y1-1, columns x0 (a multiple of 4) .. x1-1, into `rows` (width * (y1 - y0)
  // values, row by row); the other columns may be written over.
  void shade(const Instant& now, int y0, int y1, int x0, int x1, Vec4* rows) const;
  // What covers the marks at this instant besides iris and instruments.
  std::vector<Disc> glints(const Instant& now) const;
  // Opacity of the iris at a point of its plane (eye coordinates), 0 in the pupil.
  double iris_cover(const Instant& now, double x_mm, double y_mm) const;
  double surround_cover(double scene_x_mm, double scene_y_mm) const;

 private:
  struct Row;
  struct Four;
  Four meet(const Row& row, Vec4 sx, Vec4 sy) const;
  void refract(const Row& row, Four& four) const;
  Vec4 eye_light(const Instant& now, const Row& row, const Four& four, int lane, float light) const;
  Vec4 inside_light(const Instant& now, const Row& row, const Four& four, int lane,
                    float light) const;
  Vec4 lamp_light(Vec4 scene_x, Vec4 scene_y) const;
  void draw_bubbles(const Instant& now, int y0, int y1, Vec4* rows) const;
  void draw_tools(const Instant& now, int y0, int y1, Vec4* rows) const;
  void draw_glints(const Instant& now, int y0, int y1, Vec4* rows) const;

  Scene scene_;
  History history_;
  Surfaces surfaces_;
  Texture sclera_, wet_, iris_, capsule_, lens_, previous_, surround_;
};

// Where an instrument's rod lies in the picture: points from outside the eye to the tip,
// half-widths in pixels.
struct ToolOutline {
  std::vector<Point> points;
  std::vector<double> half_px;
};
std::vector<ToolOutline> tool_outlines(const Instant& now, const Scene& scene);

}  // namespace rhumb::render
