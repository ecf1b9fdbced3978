// For every axis, how well two mark ends on one line explain a contrast map, over possible lens
// centres.
#pragma once

#include <Eigen/Core>
#include <array>
#include <span>
#include <variant>
#include <vector>

#include "lens/mark_pattern.h"
#include "lens/rays.h"

namespace rhumb::lens {

// Nothing known but the look: any contrast along the outer half of the optic, whatever its pattern.
MarkProfile uninformed_profile(MarkLook look, double optic_radius, const RadialGrid& grid);

using Marks = std::variant<MarkProfile, MarkPattern>;

struct CentreGrid {
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();  // limbal radii
  double step = 0.025;
  int reach = 4;         // steps either side
  double spread = 0.06;  // standard deviation of the centre about `middle`, for its prior
};

// For each axis (degree), the best score over the centres and what it rests on. Entries are for the
// axis from 0 to 179 degrees; end A lies at the axis itself, end B opposite.
struct AxisScores {
  std::array<float, axis_count> total{};  // score of both ends less the centre's penalty
  std::array<float, axis_count> end_a{};
  std::array<float, axis_count> end_b{};
  std::array<float, axis_count> usable_a{};
  std::array<float, axis_count> usable_b{};
  std::array<Eigen::Vector2f, axis_count> centre{};
};

// How two ends' scores make one: a log likelihood ratio of "marks here" against "nothing here" that
// saturates, so that a dark instrument over one end does not count as a very good mark. `crossing`
// is the score at which both are as likely.
float log_ratio(float end_score, float usable, float crossing);

// One AxisScores for each of `marks`, in their order; the centre grid is read once for all of them.
std::vector<AxisScores> search_axis(const ContrastMap& map, const cv::Mat1b& inside,
                                    const PatchGeometry& geometry, const RadialGrid& grid,
                                    const CentreGrid& centres, std::span<const Marks> marks);

}  // namespace rhumb::lens
