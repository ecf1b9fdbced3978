// Ties the atlas to the eye's meridians, by each way that the case states.
#pragma once

#include <complex>
#include <optional>
#include <vector>

#include "analyze/refine.h"
#include "casefile/case.h"
#include "eye/atlas.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

struct Tie {
  double zero_rad = 0.0;  // eye meridian = atlas angle + zero
  double zero_se_rad = 0.0;
  // Mean of exp(2 i m) over the meridians m (of the eye) that the zero rests on: 1 in size for ink
  // at two opposite meridians or a lens, 0 for a photograph, which rests on all of them alike.
  std::complex<double> doubled_meridians;
  double rotation_zero_rad = 0.0;  // eye rotation = pose rotation - this
  bool axes_are_relative = false;
  bool axes_can_be_given = false;
  // By how much the ink that the meridians were marked with lies off them, where another reference
  // tells: eye meridian that it marks less the one it is stated to mark.
  std::optional<outcome::Interval> reference_marking;
  // Meridian of ink found at the planned axis, as the ink of the reference counts.
  std::optional<double> target_ink_rad;
  double target_ink_se_rad = 0.0;
  std::vector<outcome::ReferenceFinding> findings;
  std::vector<std::string> warnings;
};

struct PreviousAxis {
  bool found = false;
  double atlas_rad = 0.0;
  double se_rad = 0.0;
};

// `first_rotation_rad`: pose rotation in the first clear frame. Throws UserError for a photograph
// that can't be read.
Tie tie_to_meridians(const casefile::Case& stated, const eye::EyeAtlas& atlas,
                     const PreviousAxis& previous, double first_rotation_rad);

}  // namespace rhumb::analyze
