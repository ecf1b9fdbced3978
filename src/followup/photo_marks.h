// The axis marks of a toric lens in one photograph: candidates, best first.
//
// The pupil is straightened to limbal radii and searched for the lens's pattern (mark_search.h).
// The few best places are measured: every piece's middle across the axis, to a fraction of a pixel,
// and one straight line through all of them.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "casefile/case.h"
#include "eye/pose.h"
#include "followup/mark_search.h"
#include "reference/photo_file.h"

namespace rhumb::followup {

struct MarkCandidate {
  // Middles of both rows, limbal radii from the limbus centre, x to the picture's right, y up.
  Eigen::Vector2d end_a = Eigen::Vector2d::Zero();
  Eigen::Vector2d end_b = Eigen::Vector2d::Zero();
  double distance = 0.0;  // of an end from the middle between both
  double score_a = 0.0;   // log likelihood ratio of each end
  double score_b = 0.0;
  double score = 0.0;   // both ends less what an unusual place costs
  double se_rad = 1.0;  // of the direction from b to a
  double direction_rad() const;
};

// `limbus` in the photograph's pixels. Empty where nothing looks like a pair of marks.
std::vector<MarkCandidate> find_marks(const reference::Photo& photo,
                                      const eye::LimbusEllipse& limbus,
                                      const casefile::LensMarks& lens,
                                      const MarkOptions& options = {});

}  // namespace rhumb::followup
