// Finds the limbus in one picture, without being told where it is.
//
// The limbus is the middle of the transition from clear cornea to white sclera. Method: pixels vote
// for the centres of rings that brighten outwards (a Hough transform for circles over gradient
// directions, R. Duda and P. Hart 1972, D. Kerbyson and T. Atherton 1995); around the best centres
// the picture is unwrapped in log-polar form, where every concentric ring whose step in luma and
// chroma is the same all around stands out; each ring is fitted by an ellipse to the places of
// steepest change, sector by sector, with robust weights (P. Huber 1964); of nested rings the
// outermost that brightens outwards is the limbus, those inside it are pupil and collarette, or
// rhexis and pupil, which the red glow fills.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "eye/pose.h"

namespace rhumb::eye {

struct LimbusOptions {
  double least_radius_share =
      0.06;  // of the picture's longer side (a limbus of 200 px across in 1920 is 0.052)
  double most_radius_share = 0.34;  // of the picture's longer side
  double least_arc_share =
      0.25;  // of the circumference that must show the step; lids and tools hide the rest
  double most_flattening =
      0.20;  // 1 - minor/major: anatomy up to 0.12, tilt of 20 degrees another 0.06
  // Centre of the pupil in the picture's pixels where it is known: it holds the limbus's centre
  // where little of the limbus shows. find_limbus looks for it itself.
  std::optional<Eigen::Vector2d> pupil_px;
};

// What was seen on the way, for those who judge a picture that gave nothing.
struct LimbusReport {
  struct Ring {
    LimbusEllipse ellipse;
    double contrast = 0.0;   // step across the ring over its scatter from sector to sector
    double luma_step = 0.0;  // relative brightening across it
  };
  std::vector<Ring> rings;  // every ring that was fitted, best supported first
  double edge_noise =
      0.0;             // scatter of the sectors' edges about the ellipse, as a share of the radius
  std::string reason;  // why nothing was found; empty when something was
};

// Takes a picture's planes: luma CV_8UC1; cb and cr CV_8UC1 of half width and height, or empty for
// a grey picture. Gives the limbus in luma's pixels, or nothing where no ring is clear enough.
// Throws std::invalid_argument for planes of another type or size.
std::optional<LimbusEllipse> find_limbus(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr,
                                         const LimbusOptions& options,
                                         LimbusReport* report = nullptr);

// The same, near a limbus known within about a tenth of its radius (the frame before, or a coarser
// picture).
std::optional<LimbusEllipse> refine_limbus(const cv::Mat& luma, const cv::Mat& cb,
                                           const cv::Mat& cr, const LimbusEllipse& near,
                                           const LimbusOptions& options,
                                           LimbusReport* report = nullptr);

// find_limbus's answer first, then other rings of the same picture that might be the limbus,
// likeliest first, at most `most`. For those who can tell by other means which one it is. May be
// empty.
std::vector<LimbusEllipse> likely_limbi(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr,
                                        const LimbusOptions& options, int most);

}  // namespace rhumb::eye
