// The atlas of one eye: the ring from the outer iris across the limbus to the first millimetres of
// sclera, as it looks on average over a recording, unrolled about the limbus. Every frame is
// registered to it, so poses do not drift.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <memory>
#include <opencv2/core.hpp>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "casefile/case.h"
#include "eye/pose.h"
#include "video/frame.h"

namespace rhumb::eye {

class RingTemplate;  // the atlas in the form that registration needs; see register.h

// Finds the limbus in one picture without being told where it is; nothing when it can't be found.
using LimbusFinder = std::function<std::optional<LimbusEllipse>(const video::Frame&)>;

struct AtlasOptions {
  int meridians = 768;  // columns of the ring; 0.47 degrees each, a pixel or two at usual zooms
  int radii = 64;       // rows of the ring
  double inner_radius = 0.72;  // limbal radii; outside of a pupil dilated to 8 mm of 11.7
  double outer_radius = 1.60;  // limbal radii; 3.5 mm of sclera
  double limbus_mm = 5.85;     // mean limbal radius (white to white 11.7 mm: mean of normal adults)
  double globe_mm = 11.8;      // radius of the sclera behind the limbus
  int rounds = 3;              // averagings of the registered sample frames
  LimbusFinder find_limbus;    // empty: eye::find_limbus
};

struct AtlasReport {
  int samples = 0;
  int limbus_found = 0;
  int used = 0;                  // samples that agree with the average
  double mean_ring_share = 0.0;  // over the used ones
  double tilt_rad = 0.0;  // of the mean pose against the line of sight, taken out of the atlas
  Eigen::Vector2d tilt_used = Eigen::Vector2d::Zero();  // the same, as the parallax it makes
  // As measured, before it was drawn towards upright by what the measurement is worth.
  Eigen::Vector2d tilt_measured = Eigen::Vector2d::Zero();
  double tilt_azimuth_rad = 0.0;     // the atlas meridian that is tipped towards the observer
  double tilt_se_rad = 0.0;          // standard error of either component that remains undecided
  std::vector<EyePose> sample_pose;  // one a sample, in the order given
  std::string why_not;               // one plain sentence when there is no atlas
};

// The limbus in atlas coordinates: unit the mean limbal radius, angle counter-clockwise from atlas
// x.
struct LimbusInAtlas {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  double semi_major = 1.0;
  double semi_minor = 1.0;
  double angle_rad = 0.0;
  double arc_share = 0.0;  // share of the circumference whose edge supports it
  // Covariance of the centre, in squared limbal radii; that of a limbus seen all round unless said.
  Eigen::Matrix2d centre_cov = Eigen::Matrix2d::Identity() * (0.006 * 0.006);
};

struct EyeAtlas {
  // Rings: CV_32FC1, a row a radius (`radii`), a column a meridian (column i at 2 pi i / columns,
  // counter-clockwise).
  cv::Mat ring_luma;  // grey levels of the picture, mean over the frames that see the point
  cv::Mat ring_cb;    // the same grid; chroma minus 128, relative to the point's surroundings not
  cv::Mat ring_cr;    //   removed: plain means
  cv::Mat ring_seen;  // share of the used samples that saw the point, 0..1
  std::vector<double> radii;  // limbal radii, ascending
  LimbusInAtlas limbus;
  Eigen::Matrix2d picture_from_upright = Eigen::Matrix2d::Identity();  // see orientation.h
  double tilt_se_rad = 0.0;  // standard error of either component of the atlas's own tilt
  std::shared_ptr<const RingTemplate> ring;

  // Column (fractional) of an atlas meridian, and row of a radius; for reading the rings.
  double column_of(double meridian_rad) const;
  double row_of(double radius) const;
};

// Builds the atlas from frames spread over the recording (60 to 150 serve; all views must stay
// valid during the call). Orientation as the case states it. Nothing, and `report.why_not`, when
// too few frames show the eye. Method: circular correlation of unrolled rings to the best connected
// frame, then direct affine alignment (inverse compositional Gauss-Newton: Baker and Matthews, Int
// J Comput Vis 2004) to a median average, repeated.
std::optional<EyeAtlas> build_atlas(std::span<const video::Frame> samples,
                                    casefile::Superior superior, bool mirrored,
                                    const AtlasOptions& options, AtlasReport& report);

// The limbus of a frame: the atlas's own limbus seen in the pose. `arc_share` is the pose's ring
// share.
LimbusEllipse limbus_in_picture(const EyeAtlas& atlas, const EyePose& pose);

}  // namespace rhumb::eye
