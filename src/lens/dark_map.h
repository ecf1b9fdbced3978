// How much darker each point of a patch is than its surroundings, in units of the picture's own noise.
#pragma once

#include <opencv2/core.hpp>

#include "lens/patch.h"

namespace rhumb::lens {

struct DarkMapOptions {
  // Scales in limbal radii. A printed mark is 0.1 to 0.25 mm wide, 0.017 to 0.043 limbal radii.
  double mark_sigma = 0.010;      // inner Gaussian
  double surround_sigma = 0.035;  // outer Gaussian: wider than a mark, narrower than the pupil's shading
  double bright_excess = 0.10;    // relative luma above the surroundings that is a reflex or a rim, not the glow
  double dark_excess = 0.45;      // relative luma below them that is an instrument or the iris, not a mark
};

struct DarkMap {
  cv::Mat1f response;  // relative darkness, mark-sized, in units of `noise`; 0 where not usable
  cv::Mat1b usable;    // 255 where the response can be read
  float noise = 0.0F;  // robust standard deviation of the relative darkness over the usable part
};

// patch: CV_8UC1 as from straighten(); inside: CV_8UC1, 255 where the pupil shows (empty: everywhere).
// Reflexes, bright rims and their fringes become unusable. Method: difference of Gaussians on the ratio of
// luma to its local median, so that the glow's brightness and the exposure drop out.
DarkMap dark_map(const cv::Mat& patch, const cv::Mat& inside, const PatchGeometry& geometry,
                 const DarkMapOptions& options);

}  // namespace rhumb::lens
