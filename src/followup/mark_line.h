// The straight line through the pieces of a lens's marks, measured to a fraction of a pixel.
#pragma once

#include <Eigen/Core>
#include <optional>

#include "followup/mark_search.h"

namespace rhumb::followup {

struct MarkLine {
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // limbal radii from the limbus centre, y up
  double direction_rad = 0.0;                        // towards end a
  double se_rad = 1.0;
  int pieces = 0;  // that it rests on, both ends together
};

// Weighted line through the middles of the pieces across the axis, from `place` on. Pieces that lie
// off the line by more than the rest count less (Huber). Empty where not one piece of each end can
// be measured.
std::optional<MarkLine> measure_line(const StraightPupil& pupil, const MarkPattern& pattern,
                                     const MarkPlace& place);

// The same for the row of end a alone, for which `centre` is where the row's middle lies. Its
// direction is far less sure. Empty where not two of its pieces can be measured.
std::optional<MarkLine> measure_row(const StraightPupil& pupil, const MarkPattern& pattern,
                                    const MarkPlace& place);

}  // namespace rhumb::followup
