// From fine readings to the rows of the timeline, and to episodes, still stretches and the final
// axis.
#pragma once

#include <vector>

#include "analyze/passes.h"
#include "analyze/references.h"
#include "analyze/refine.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

inline constexpr double widest_half_rad = 0.07;  // an axis vaguer than 4 degrees is not given

struct RowInputs {
  const Pass& pass;
  const eye::EyeAtlas* atlas = nullptr;  // null: no eye was found
  double atlas_tilt_rad = 0.0;
  double atlas_tilt_se_rad = 0.0;
  const FrameReading& coarse;
  const FineReading& fine;
  const ChamberReading& chamber;
  const Tie& tie;
  bool previous_believed =
      false;  // the evidence for each lens's marks is more than chance could give
  bool current_believed = false;
  std::optional<double> planned_axis_rad;
  bool lens_column_known = true;  // false: what may be marks can neither be believed nor ruled out
};

// Standard error that is common to all axes of a lens about this one (of the eye; nothing where it
// is not known): template, reference, tilt of the atlas.
double common_se(const RowInputs& inputs, const FineReport& report, std::optional<double> axis_rad);

std::vector<outcome::TimelineRow> make_rows(const RowInputs& inputs);

// A stay of each lens with the stretches in which it lies still.
std::vector<outcome::Episode> make_episodes(const std::vector<outcome::TimelineRow>& rows);

// Whether the new lens first lies within 3 degrees of where the previous one lay last: it may be
// that one, seen again after a gap, and marks that are alike don't tell.
bool may_be_seen_again(const std::vector<outcome::Episode>& episodes);

// The last still stretch of the new lens (of the previous one when no other came).
std::optional<outcome::FinalAxis> make_final(const std::vector<outcome::TimelineRow>& rows,
                                             const std::vector<outcome::Episode>& episodes,
                                             std::optional<double> planned_axis_rad);

}  // namespace rhumb::analyze
