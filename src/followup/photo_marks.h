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
  double step = 0.0;      // between neighbouring pieces, limbal radii
  double score_a = 0.0;   // log likelihood ratio of each end
  double score_b = 0.0;
  double score = 0.0;     // both ends less what an unusual place costs
  double se_rad = 1.0;    // of the direction from b to a
  bool expected = false;  // found where the other photographs say that the marks are
  bool one_end = false;   // end b is only where it would be
  double direction_rad() const;
  Eigen::Vector2d centre() const { return 0.5 * (end_a + end_b); }
};

// `limbus` in the photograph's pixels. Empty where nothing looks like a pair of marks.
std::vector<MarkCandidate> find_marks(const reference::Photo& photo,
                                      const eye::LimbusEllipse& limbus,
                                      const casefile::LensMarks& lens,
                                      const MarkOptions& options = {});

// Where only one end can be seen: its row's own direction and that from the lens centre, which
// `options` must say, weighed together. End b is then where it would be.
std::vector<MarkCandidate> find_one_end(const reference::Photo& photo,
                                        const eye::LimbusEllipse& limbus,
                                        const casefile::LensMarks& lens,
                                        const MarkOptions& options);

}  // namespace rhumb::followup
