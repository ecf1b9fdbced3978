// What stands out in a patch against its surroundings, in luma and in saturation.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "lens/patch.h"

namespace rhumb::lens {

inline constexpr int channel_count = 2;  // 0: luma, 1: saturation

struct ContrastOptions {
  double surround_radius = 0.09;  // limbal radii; wider than a mark (0.04 at most), narrower than shading
  double bright_excess = 0.12;    // relative luma above the surroundings that is a reflex, not the glow
  double dark_excess = 0.50;      // relative luma below them that is an instrument, not a mark
};

// For each channel, surroundings minus point, relative to the surroundings: positive where the point is
// darker, or greyer, than they are. Exposure and the glow's brightness drop out.
struct ContrastMap {
  std::array<cv::Mat1f, channel_count> value;
  cv::Mat1b usable;  // 255 where the point shows neither reflex nor instrument nor the picture's border
};

ContrastMap contrast_map(const Patch& patch, const PatchGeometry& geometry,
                         const ContrastOptions& options);

// Median over several maps of one eye, point by point over the maps in which the point is usable; usable
// where at least 40 % of them are. What moves against the eye (instruments, reflexes) drops out.
ContrastMap median_of(const std::vector<ContrastMap>& maps);

}  // namespace rhumb::lens
