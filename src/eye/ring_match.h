// Registers two pictures of one eye to each other by what lies about the limbus: outer iris,
// limbus, and the vessels and pigment of the first millimetres of sclera. Made for pictures that
// differ in camera, light, magnification, pupil and rotation; refuses pictures of different eyes.
//
// Method: both pictures are unrolled about their limbus and made independent of the light (contrast
// of each point against its surroundings). A block-wise normalised correlation over all rotations
// gives starting values. Then small patches are found again by normalised cross-correlation (J. P.
// Lewis 1995), each with the precision that its texture allows in each direction (a vessel fixes
// only what lies across it), and an affine map with the parallax of a solid eye is fitted to them
// by iteratively reweighted least squares, three times. Last, every patch is looked for once more
// in a wide window: the share that turns up where the map says, against what chance would give, is
// the evidence that the two pictures show one eye.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "eye/pose.h"

namespace rhumb::eye {

inline constexpr int ring_match_sectors = 24;  // independent ones, all round

struct RingMatchOptions {
  double least_evidence = 30.0;   // natural logarithm of the odds for one eye; see docs/followup.md
  double turn_limit_rad = 3.2;    // rotations looked for on both sides of zero; 3.2 is all
  double largest_se_rad = 0.009;  // half a degree: a match vaguer than this is refused
};

// One picture, ready for matching; holds its own pixels.
struct RingView {
  cv::Mat grey;    // CV_32FC1, green-like brightness, reduced so that the limbal radius is some 300
                   // pixels
  cv::Mat usable;  // CV_8UC1, 0 at reflexes and where the picture has nothing
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // of the limbus, in `grey`
  double radius = 0.0;                               // of the limbus, in `grey`
  double reduced = 1.0;                              // pixels of the picture per pixel of `grey`
  Eigen::Vector2d centre_px = Eigen::Vector2d::Zero();
  double radius_px = 0.0;
};

// luma CV_8UC1; cb, cr CV_8UC1 of half size, or empty. usable: CV_8UC1 of luma's size, or empty for
// all. `grey` is empty where the limbus spans 40 pixels or less, or lies outside the picture.
RingView ring_view(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr,
                   const LimbusEllipse& limbus, const cv::Mat& usable = {});

struct RingMatch {
  bool accepted = false;
  std::string reason;  // why not accepted; one plain sentence
  double rotation_rad =
      0.0;  // how far the second picture's eye is turned counter-clockwise against the first's
  double rotation_se_rad = 0.0;
  // With p in limbal radii from the first limbus centre, x right and y up: the same point of the
  // limbal plane lies in the second picture at offset + linear * p, in limbal radii from the second
  // limbus centre, x right and y up.
  Eigen::Matrix2d linear = Eigen::Matrix2d::Identity();
  Eigen::Vector2d offset = Eigen::Vector2d::Zero();
  Eigen::Vector2d parallax = Eigen::Vector2d::Zero();  // see EyePose
  double shear_se = 0.0;        // standard error of the map's departure from a similarity
  double share_agreeing = 0.0;  // of the patches with texture in both pictures
  int sectors_agreeing =
      0;                  // of ring_match_sectors: those whose patches together speak for one eye
  double evidence = 0.0;  // natural logarithm of the odds that this is one eye
};

RingMatch match_rings(const RingView& first, const RingView& second,
                      const RingMatchOptions& options);

}  // namespace rhumb::eye
