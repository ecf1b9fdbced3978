// Follows two marks that were pointed at in one frame through the frames about it, by what they
// look like there.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "lens/patch.h"

namespace rhumb::analyze {

struct FollowOptions {
  double reach_s = 10.0;     // either side of the frame
  double gap_s = 0.5;        // frames in between that need not show the marks
  double half_side = 0.085;  // limbal radii about each end that are compared: half a millimetre
  double search =
      0.05;  // limbal radii about where they were last: 6 degrees of turn from frame to frame
  double least_likeness =
      0.75;  // normalised cross-correlation of each end; noise alone reaches about 0.4
  double least_contrast =
      0.012;  // standard deviation of what is compared: below this there is no mark
  double most_stretch = 0.025;   // limbal radii by which the distance between the ends may change
  double most_turn_rad = 0.052;  // 3 degrees: further and the lens does not lie still
};

struct FollowedFrame {
  std::size_t frame = 0;
  double turn_rad = 0.0;  // counter-clockwise against the frame that was pointed at
  double se_rad = 0.0;    // of the turn
};

// ends_atlas: the two points in the frame `from`. Always compared with that frame, so that nothing
// drifts. Gives the frames in which both ends were found, in order of time, `from` itself with turn
// 0 among them; nothing where that frame has no patch or shows nothing at the two points. Method:
// normalised cross-correlation of contrast in luma and saturation, peak by a parabola.
std::vector<FollowedFrame> follow_marks(const lens::PatchStore& patches,
                                        std::span<const double> time_s, std::size_t from,
                                        const std::array<Eigen::Vector2d, 2>& ends_atlas,
                                        const FollowOptions& options = {});

}  // namespace rhumb::analyze
