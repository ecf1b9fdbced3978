// Where in a straightened pupil a lens's pattern of marks may lie.
//
// Each end of the axis is a row of pieces (dots, or the parts of a line) that point at the lens
// centre, and both rows mirror each other in it. A piece is a spot that stands out of its
// surroundings; what stands out by itself (a reflex, a bubble, a crossing edge) has no row, no
// partner, or pieces of unlike contrast.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

#include "casefile/case.h"
#include "followup/straight_pupil.h"

namespace rhumb::followup {

struct MarkOptions {
  double limbus_mm = 5.85;  // mean limbal radius (white to white 11.7 mm)
  double dot_mm = 0.15;     // across a dot; common practice, no source
  // Between the middles of neighbouring dots; common practice, no source.
  double least_dot_step_mm = 0.19, most_dot_step_mm = 0.45;
  std::array<double, 4> line_mm = {0.45, 0.65, 0.9, 1.2};  // lengths; common practice, no source
  // Of the marks' middle from the lens centre, limbal radii: an optic of 5.5 to 6.5 mm seen through
  // the cornea.
  double distance_mean = 0.46;
  double distance_sd = 0.07;
  // Of the lens centre from the limbus centre, limbal radii; 0.06 is 0.35 mm.
  Eigen::Vector2d centre_mean = Eigen::Vector2d::Zero();
  double centre_sd = 0.06;
  double most_decentred = 0.18;  // limbal radii from centre_mean
  double known_step = 0.0;       // between neighbouring pieces, limbal radii; 0: not known
  int most = 12;                 // candidates
};

// The pieces of one end.
struct MarkPattern {
  int pieces = 1;
  bool along = false;         // pieces of a line: they stand out across the row only
  double size = 0.026;        // of a piece along the row, limbal radii
  std::vector<double> steps;  // distances of neighbouring pieces to try, limbal radii
};
MarkPattern pattern_of(const casefile::LensMarks& lens, const MarkOptions& options);

struct MarkPlace {
  double direction_rad = 0.0;                        // from the lens centre to end a
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // limbal radii from the limbus centre, y up
  double distance = 0.0;                             // of a row's middle from the lens centre
  double step = 0.0;                                 // of its pieces
  double score_a = 0.0, score_b = 0.0;  // log likelihood ratio: marks there against none
  double score = -1e9;                  // both, less what an unusual place costs

  // Piece k of the row at end a (side 1) or b (side -1), outermost last.
  Eigen::Vector2d piece(const MarkPattern& pattern, int side, int k) const;
};

// Log likelihood ratio of a row's pieces, given how far each stands out in standard deviations
// (sign: lighter or darker). A row's pieces share their contrast to about a third; what is no mark
// is noise and now and then anything. Exposed for its test.
double row_evidence(const double* standing_out, int pieces);

// What each end must hold by itself: there are some tens of places for the second one once the
// first is found.
inline constexpr double least_end = 3.0;

// The best places, best first, apart by four degrees or by 0.04 limbal radii of distance.
std::vector<MarkPlace> search_marks(const StraightPupil& pupil, const MarkPattern& pattern,
                                    const MarkOptions& options);

// The same for one end alone, which then is end a; for where the lens centre is known.
std::vector<MarkPlace> search_rows(const StraightPupil& pupil, const MarkPattern& pattern,
                                   const MarkOptions& options);

}  // namespace rhumb::followup
