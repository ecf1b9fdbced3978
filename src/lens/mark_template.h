// What the marks of this lens look like, learned from the recording, and how far a frame's marks
// are turned against it.
//
// A strip shows one end: contrast by angle from the axis (columns) and distance from the lens
// centre (rows).
#pragma once

#include <Eigen/Core>
#include <array>
#include <cmath>
#include <span>
#include <vector>

#include "lens/rays.h"

namespace rhumb::lens {

struct StripGeometry {
  double reach_rad = 0.14;  // 8 degrees either side
  double step_rad = 0.005;  // 0.29 degrees, a third of a pixel at the marks
  int columns() const { return 2 * static_cast<int>(std::lround(reach_rad / step_rad)) + 1; }
  double angle_at(int column) const {
    const int middle = columns() / 2;
    return step_rad * (column - middle);
  }
};

// value: CV_32F per channel; weight: 1 where usable, else 0.
struct MarkStrip {
  std::array<cv::Mat1f, channel_count> value;
  cv::Mat1f usable;
};

// The strip of the end at `meridian_rad` (atlas) seen from `centre`; what runs on
// across the strip, level or at a slope, is taken off: shading along the distance, and edges of
// optic, rhexis and haptics.
MarkStrip mark_strip(const ContrastMap& map, const cv::Mat1b& inside, const PatchGeometry& geometry,
                     const Eigen::Vector2d& centre, double meridian_rad, const RadialGrid& grid,
                     const StripGeometry& strip);

struct MarkTemplate {
  std::array<cv::Mat1f, channel_count> value;  // mean strip of one end
  cv::Mat1f seen;                              // summed weight by point
  std::array<float, channel_count> noise{};    // standard deviation of a single frame about it
  double mean_distance = 0.5;                  // limbal radii, weighted by what fixes the angle
};

// Collects strips, weighted, into a template.
class TemplateBuilder {
 public:
  TemplateBuilder(const RadialGrid& grid, const StripGeometry& strip);
  void add(const MarkStrip& strip, float weight);
  // The mean, tapered to the marks: distances whose contrast does not rise above the spread get no
  // say, nor do those at which `distances` (0..1, an entry a distance; empty: everywhere) has none.
  MarkTemplate build(std::span<const float> distances = {}) const;

 private:
  RadialGrid grid_;
  StripGeometry strip_;
  std::array<cv::Mat1f, channel_count> sum_;
  std::array<cv::Mat1f, channel_count> squares_;
  cv::Mat1f weight_;
};

// How far a strip is turned against the template, counter-clockwise.
struct TurnEstimate {
  double turn_rad = 0.0;
  double se_rad =
      1e3;  // from the noise about the template; points next to each other share noise, see .cpp
  double gain = 0.0;  // contrast in units of the template's
  double gain_se = 1e3;
  double misfit =
      1.0;  // residual about the fitted marks over the template's noise, root mean square
};

// Least squares over turn and gain (Gauss-Newton, three rounds, within 4 degrees). se_rad stays
// large when the marks can't be seen.
TurnEstimate turn_of(const MarkStrip& strip, const MarkTemplate& mark,
                     const StripGeometry& geometry);

// Summed squares of a template's contrast, in units of its noise.
double power(const MarkTemplate& mark);

// How alike two ends' marks are: their normalised correlation, at the best of the shifts along the
// distance that a decentred lens makes and of small turns. Both ends of a lens carry the same
// marks, so what is not alike is not marks.
double likeness(const MarkTemplate& a, const MarkTemplate& b);

// How like its own mirror image about the marked meridian a template is, -1 to 1, at the best place
// of that meridian. Dots and lines along the meridian are symmetric; edges and folds seldom are.
double symmetry(const MarkTemplate& mark);

// What two ends have in common as marks have: the product of their likeness and of the symmetry of
// each. Marks that were read right had 0.50 and more but for three lenses of some eighty, clutter
// 0.46 at most: on recordings that were tuned on, ours and others'.
double common_marks(const MarkTemplate& a, const MarkTemplate& b);
inline constexpr double least_common_marks = 0.48;  // from which both ends are read

// A decentred lens shows its outer marks at one end only: the pupil's edge hides the other's, and
// lies in their place. Where the two templates are not alike as a whole, both are cut off at the
// furthest distance up to which they are; false where nothing was cut.
struct SharedRows {
  double alike = 0.6;          // as a whole: then nothing is cut
  double alike_in_part = 0.8;  // more is asked of a choice among many
  double least_power = 0.25;   // share of the stronger end's power that must be left at both
};
bool keep_what_both_show(MarkTemplate& a, MarkTemplate& b, const RadialGrid& grid,
                         const SharedRows& asked = {});

// Where the template's own marks lie: the angle about which their contrast is symmetric.
double symmetric_angle(const MarkTemplate& mark, const StripGeometry& geometry);

// Where both ends' marks lie, from what the ends have in common: marks are the same at both and
// symmetric about the axis, clutter is neither. The correlation of end A with the mirror image of
// end B gives the sum of the two angles, that with B itself the difference; what lies at one end
// only takes part in neither, while it would pull that end's own angle of symmetry to itself.
struct MarkAngles {
  double a_rad = 0.0;
  double b_rad = 0.0;
  double mean_se_rad = 0.0;  // of their mean: from how rows disagree (sandwich estimate)
};
MarkAngles mark_angles(const MarkTemplate& a, const MarkTemplate& b, const StripGeometry& geometry);

}  // namespace rhumb::lens
