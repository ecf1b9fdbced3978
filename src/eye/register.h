// Registers the ring of one picture to the atlas by direct alignment.
//
// Eight parameters: the affine map of the limbal plane (six) and the parallax of depth (two).
// Inverse compositional Gauss-Newton (Baker and Matthews, Int J Comput Vis 56, 2004) with weights
// from the atlas's own scatter, a redescending weight a pixel (Geman and McClure) and one a block
// of the ring. A weak prior ties the map's departure from a similarity to the foreshortening that
// the parallax implies.
#pragma once

#include <Eigen/Core>
#include <array>
#include <memory>
#include <vector>

#include "eye/pose.h"
#include "eye/ring.h"

namespace rhumb::eye {

inline constexpr int ring_levels = 3;    // fine, middle, coarse: each half of the one before
inline constexpr int ring_sectors = 48;  // 7.5 degrees each
inline constexpr int ring_bands = 4;     // blocks are sectors x bands

// One resolution of the atlas.
struct TemplateLevel {
  RingShape shape;
  std::vector<float> value;   // contrast of each point, as RingNormaliser makes it
  std::vector<float> grad_x;  // its gradient along atlas x and y, per limbal radius
  std::vector<float> grad_y;
  std::vector<float> inv_var;  // 1 / variance of a frame's contrast about `value`; 0 where not seen
};

// How a frame's map relates to the atlas; see ForeshortenPrior.
struct AlignOptions {
  double shear_sd = 0.004;   // departure from the foreshortening that the parallax implies
  double parallax_sd = 0.1;  // tangent of the tilt: 6 degrees
  int iterations = 6;        // at most, a level
  double settled = 2e-4;     // stop after a step below this share of the limbal radius
  int coarsest = ring_levels - 1;
};

struct Alignment {
  RingPose pose;
  double agreement = 0.0;  // correlation of ring and atlas over what is weighted, -1..1
  double gain = 1.0;       // contrast of the frame against the atlas: below 1 when blurred
  double scatter = 1.0;    // robust scale of the residuals against the atlas's own
  double ring_share = 0.0;
  double detail_share = 0.0;  // detail_share.h
  std::array<float, ring_sectors> sector_weight{};
  Eigen::Matrix<double, 8, 8> covariance = Eigen::Matrix<double, 8, 8>::Zero();

  // For a choice between rotations. The ring share alone would often take the one at which what
  // stands still (lids, wires, the fall of light) agrees, though the eye has turned.
  double quality() const { return ring_share * agreement * (0.1 + detail_share); }
};
// Order of the eight: shift x, y; scale; rotation; two shears; parallax x, y: all in atlas
// coordinates.

class RingTemplate {
 public:
  std::array<TemplateLevel, ring_levels> level;
  Eigen::Matrix2d picture_from_upright = Eigen::Matrix2d::Identity();

  // Fills the gradients of a level from its values.
  static void differentiate(TemplateLevel& level);
};

// Level of PictureLevels to read for the fine ring at a limbal radius of scale_px.
int picture_level_for(double scale_px);

// The registration with its buffers; one a thread.
class Aligner {
 public:
  // Prepares the picture around a pose; needed once a frame and again when the pose moved far.
  void look_at(const cv::Mat& luma, const RingPose& pose, double outer_radius);
  // Registers from a start through levels `coarsest` .. finest (0 is the fine one).
  Alignment align(const RingTemplate& ring, const RingPose& start, const AlignOptions& options,
                  int finest = 0);
  // The contrast ring at a level under a pose; for building and for correlation. Size of the
  // level's shape.
  void contrast(const RingShape& shape, int level, const RingPose& pose,
                std::vector<float>& contrast, std::vector<float>& mask);
  const PictureLevels& pictures() const { return pictures_; }
  int base_level() const { return base_level_; }

 private:
  struct Normal;
  int read_level(const RingShape& shape, int level, const RingPose& pose, bool keep_surround);
  void accumulate(const TemplateLevel& level, bool with_curvature, Normal& normal);
  void scatter_of(const TemplateLevel& level, Normal& normal);
  void fill_basis(const TemplateLevel& level, int row);
  double weigh(const TemplateLevel& level);
  void judge_sectors(const TemplateLevel& level, Alignment& result);

  PictureLevels pictures_;
  RingNormaliser normaliser_;
  int base_level_ = 0;
  std::vector<float> value_, mask_, contrast_, residual_, weight_, sample_;
  std::vector<float> basis_, weighted_, square_;
  std::array<float, std::size_t{ring_sectors} * std::size_t{ring_bands}> block_weight_{};
  double gain_ = 1.0, scatter_ = 1.0;
};

// The frame's map as upright * scale * rotation * foreshortening (a symmetric map of unit area).
struct PoseParts {
  double scale = 1.0;
  double rotation_rad = 0.0;
  Eigen::Vector2d shear =
      Eigen::Vector2d::Zero();  // logarithm of the symmetric part: (xx - yy) / 2, xy
};
PoseParts parts_of(const Eigen::Matrix2d& picture_from_upright, const Eigen::Matrix2d& linear);
// Inverse of parts_of.
Eigen::Matrix2d linear_of(const Eigen::Matrix2d& picture_from_upright, const PoseParts& parts);
// The shear that a tilt with this parallax implies under a parallel view: half ln cos(tilt) along
// its direction.
Eigen::Vector2d foreshortening(const Eigen::Vector2d& parallax);

EyePose eye_pose_of(const Alignment& alignment, const Eigen::Matrix2d& picture_from_upright);
RingPose ring_pose_of(const EyePose& pose);

}  // namespace rhumb::eye
