// What stands out in a patch against its surroundings, in luma and in saturation.
#pragma once

#include <array>
#include <opencv2/core.hpp>
#include <vector>

#include "lens/patch.h"

namespace rhumb::lens {

inline constexpr int channel_count = 2;
inline constexpr int luma_channel = 0;
inline constexpr int saturation_channel = 1;

struct ContrastOptions {
  double surround_radius =
      0.09;  // limbal radii; wider than a mark (0.04 at most), narrower than shading
  // What is no mark. Printed marks may be much darker or lighter than the glow, but they are narrow
  // and short; a reflex's core glares, an instrument is broad or long.
  double bright_excess =
      0.12;  // relative luma above the surroundings that is a reflex or a bubble's highlight;
             //   for light marks only if joined to glare:
  double glare_excess = 1.0;    //   this much above them,
  int glare_luma = 220;         //   or about as bright as the picture can show
  double ring_excess = 0.05;    // the same of a thin edge that runs round the eye
  double widest_bubble = 0.17;  // limbal radii (1 mm): of what is made whole
  double dark_excess = 0.50;    // relative luma below the surroundings that may be an instrument
  double broadest_mark = 0.07;  // limbal radii (0.4 mm)
  double longest_mark = 0.26;   // limbal radii (1.5 mm)
  double clamp = 0.8;           // contrast beyond this counts as this
};

// For each channel, surroundings minus point, relative to the surroundings: positive where the
// point is darker, or greyer, than they are. Exposure and the glow's brightness drop out.
struct ContrastMap {
  std::array<cv::Mat1f, channel_count> value;
  cv::Mat1b
      usable;  // 255 where the point shows neither reflex nor instrument nor the picture's border
  cv::Mat1b usable_if_light;  // the same where marks may be lighter than the glow: only glare
                              // counts as reflex
  // 255 on thin edges that run round the eye (of rhexis, optic, haptics); empty: not looked for.
  // They say the same of every meridian that they cross, so a search that compares meridians may
  // use them; a measurement of one end may not.
  cv::Mat1b ring;

  // This map for light marks: shares the values.
  ContrastMap for_light_marks() const { return {value, usable_if_light, usable_if_light, ring}; }
};

ContrastMap contrast_map(const Patch& patch, const PatchGeometry& geometry,
                         const ContrastOptions& options);

// Median over several maps of one eye, point by point over the maps in which the point is usable;
// usable, and on a ring, where at least 40 % of them are. What moves against the eye (instruments,
// reflexes) drops out.
ContrastMap median_of(const std::vector<ContrastMap>& maps);

}  // namespace rhumb::lens
