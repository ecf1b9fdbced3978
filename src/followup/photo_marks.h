// The axis marks of a toric lens in one photograph: candidates, best first.
//
// The pupil is straightened to limbal radii. For every axis, lens centre and distance of the marks
// from it, both ends must show a narrow bar along the axis, darker or lighter than what lies beside
// it (diffuse light shows the marks light, a red reflex shows them dark, a slit may show one of
// each). One reflex, lash or haptic has no partner. The few best are measured: the bar's middle
// across the axis, at both ends, to a fraction of a pixel.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "casefile/case.h"
#include "eye/pose.h"
#include "reference/photo_file.h"

namespace rhumb::followup {

struct MarkOptions {
  double limbus_mm = 5.85;    // mean limbal radius (white to white 11.7 mm)
  double dot_mm = 0.15;       // across a dot; common practice, no source
  double dot_step_mm = 0.25;  // between middles of dots; common practice, no source
  double line_mm = 0.7;       // length of a line; common practice, no source
  double distance_mean =
      0.46;  // of the marks' middle from the lens centre, limbal radii: an optic of 5.5 to 6.5 mm
  double distance_sd = 0.07;     //   seen through the cornea
  double centre_sd = 0.06;       // of the lens centre from the limbus centre, limbal radii: 0.35 mm
  double most_decentred = 0.18;  // limbal radii
  int most = 8;                  // candidates
};

struct MarkCandidate {
  Eigen::Vector2d end_a =
      Eigen::Vector2d::Zero();  // limbal radii from the limbus centre, x to the picture's right,
  Eigen::Vector2d end_b = Eigen::Vector2d::Zero();  //   y up
  double distance = 0.0;                            // of an end from the middle between both
  double score_a = 0.0;                             // contrast over noise, saturating
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
