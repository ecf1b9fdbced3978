// A contrast map read along rays from a supposed lens centre.
//
// Printed marks are the only things in an optic that are narrow across the meridian, the same at
// both ends and on one line through the centre. Rims, the rhexis and the pupil's edge run round the
// centre instead: they drop out when each distance is compared with its own neighbours in angle.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "lens/contrast.h"

namespace rhumb::lens {

inline constexpr int ray_count = 360;  // one a degree, counter-clockwise from atlas x
inline constexpr int axis_count = ray_count / 2;

struct RadialGrid {
  double first = 0.24;  // limbal radii from the lens centre
  double step = 0.015;
  int count = 30;  // up to 0.675
  double at(int index) const { return first + step * index; }
};

// Contrast by distance and ray, less the mean of its neighbours in angle, in units of the noise at
// that distance. It counts in full up to 8 and by its logarithm beyond: no point outvotes the
// others, and of two strong rays the stronger one still wins.
struct RayMap {
  std::array<cv::Mat1f, channel_count> value;  // rows: distances, columns: rays; 0 where not usable
  cv::Mat1b usable;                            // 1 or 0
};

// centre: atlas units; inside: CV_8UC1 pupil mask, may be empty.
RayMap ray_map(const ContrastMap& map, const cv::Mat1b& inside, const PatchGeometry& geometry,
               const Eigen::Vector2d& centre, const RadialGrid& grid);

// Weights by channel and distance; what a mark looks like along its ray.
struct MarkProfile {
  std::array<std::vector<float>, channel_count> weight;
  int empty_below = 0;    // nearer than this distance (index) the marked meridian is empty
  float crossing = 3.5F;  // score of an end at which a mark and no mark are as likely
};

// Mean magnitude of contrast nearer than distance `below` (index) by ray, where a marked meridian
// is empty.
struct InnerContrast {
  std::array<float, ray_count> mean{};
  std::array<float, ray_count> points{};  // distances that could be read
};
InnerContrast inner_contrast(const RayMap& rays, int below);

// A matched score, lowered where the ray holds more than marks: contrast energy over `points`
// values beyond what the match and noise explain, or something where the marked meridian is empty.
float less_strange(float matched, float energy, float points, float inner_mean, float inner_points);

// Score of each ray: weighted sum over distances divided by its standard deviation under noise, so
// about normal with unit variance where there is no mark; lowered where the ray holds much that
// does not match the profile, or holds something where the marked meridian is empty: instruments
// cross the whole pupil. `usable` is the share of squared weight that could be read.
struct RayScores {
  std::array<float, ray_count> score{};
  std::array<float, ray_count> usable{};
};
RayScores score_rays(const RayMap& rays, const MarkProfile& profile);

}  // namespace rhumb::lens
