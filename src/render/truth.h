// What is true of each picture of a scene, in the same words as the analysis's own outputs.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <vector>

#include "render/stage.h"

namespace rhumb::render {

struct TruthRow {
  std::int64_t frame = 0;
  double time_s = 0.0;
  bool lens_in_eye = false;
  bool previous = false;
  Eigen::Vector2d limbus_px = Eigen::Vector2d::Zero();
  double limbus_radius_px = 0.0;
  double eye_rotation_rad = 0.0;
  std::optional<double> axis_rad;  // in the eye's meridians
  double readable_a = 0.0;         // share of the mark at meridian `axis` that shows
  double readable_b = 0.0;         // and of the one opposite
  bool moving = false;
  double readable() const { return 0.5 * (readable_a + readable_b); }
};

// Share of the marks' contrast that the recorder's coding has left, at either end.
struct MarksLeft {
  double a = 1.0;
  double b = 1.0;
};

// Method of `readable`: mark samples that lie in the pupil and the picture and under no instrument,
// bubble, reflection or lid, weighted by visibility after blur, motion, noise and coding. A model,
// not observers.
TruthRow truth_at(const Stage& stage, std::int64_t frame, double time_s,
                  const MarksLeft& left = {});

// truth.csv and truth.json of a recording (docs/rendering.md). With a previous lens of unknown axis
// the axes count from that lens.
void write_truth(const std::filesystem::path& folder, const Scene& scene,
                 const std::vector<TruthRow>& rows);

// The angle taken off every axis: the previous lens's when axes are relative, else 0.
double relative_to(const Scene& scene);
double planned_axis(const Scene& scene);  // relative axes taken into account, [0, pi)

}  // namespace rhumb::render
