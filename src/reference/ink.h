// Ink marks at the limbus, put at stated meridians: they tie the atlas to the eye's meridians.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "eye/atlas.h"

namespace rhumb::reference {

struct InkOptions {
  // Standard deviation of the zero meridian against `superior` before looking: head and hand
  // positions.
  double prior_rotation_sd_rad = 0.14;  // 8 degrees; common practice, no source
  double placing_sd_rad =
      0.012;  // 0.7 degrees: one mark against its stated meridian; common practice, no source
};

struct FoundMark {
  double stated_rad = 0.0;  // the meridian that the case states, [0, 2 pi)
  bool found = false;
  double atlas_rad = 0.0;  // where it lies in the atlas, [0, 2 pi)
  double se_rad = 0.0;     // of measuring it, not of placing it
  double residual_rad =
      0.0;  // its own error against the mean of the marks, counter-clockwise positive
  bool disagrees = false;  // further from the others than marks are placed
  double strength = 0.0;   // contrast over its noise
};

// eye meridian = atlas angle + zero_rad
struct InkFinding {
  bool found = false;
  double zero_rad = 0.0;
  double se_rad = 0.0;           // of zero_rad as the marks' own mean
  std::vector<FoundMark> marks;  // in the order stated
  std::optional<FoundMark>
      target;  // ink at the planned axis when asked for: measured, takes no part in zero_rad
  std::string why_not;
};

// meridians_rad: the case's stated meridians; target_axis_rad: set when ink was put at the planned
// axis too. The marks' own mean, all clearly found ones with equal weight, defines the reference.
InkFinding find_ink(const eye::EyeAtlas& atlas, std::span<const double> meridians_rad,
                    std::optional<double> target_axis_rad = std::nullopt,
                    const InkOptions& options = {});

}  // namespace rhumb::reference
