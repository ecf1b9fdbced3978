#include "followup/photo_marks.h"

#include <algorithm>
#include <cmath>

#include "followup/mark_line.h"

namespace rhumb::followup {
namespace {

constexpr double fine = 360.0;  // pixels a limbal radius: a dot of 0.15 mm is 9 across
constexpr double coarse = 160.0;  // two pixels a step of the search

}  // namespace

double MarkCandidate::direction_rad() const {
  const Eigen::Vector2d d = end_a - end_b;
  return std::atan2(d.y(), d.x());
}

std::vector<MarkCandidate> find_marks(const reference::Photo& photo,
                                      const eye::LimbusEllipse& limbus,
                                      const casefile::LensMarks& lens, const MarkOptions& options) {
  const MarkPattern pattern = pattern_of(lens, options);
  StraightPupil small = straighten(photo, limbus, coarse), large = straighten(photo, limbus, fine);
  const auto pupil = find_photo_pupil(small.bright, small.clear, coarse);
  if (pupil) {
    keep_pupil(small, *pupil);
    keep_pupil(large, *pupil);
  }
  std::vector<MarkCandidate> out;
  for (const MarkPlace& place : search_marks(small, pattern, options)) {
    const auto line = measure_line(large, pattern, place);
    if (!line) continue;
    MarkCandidate candidate;
    const Eigen::Vector2d u(std::cos(line->direction_rad), std::sin(line->direction_rad));
    candidate.end_a = line->centre + place.distance * u;
    candidate.end_b = line->centre - place.distance * u;
    candidate.distance = place.distance;
    candidate.score_a = place.score_a;
    candidate.score_b = place.score_b;
    candidate.score = place.score;
    candidate.se_rad = line->se_rad;
    out.push_back(candidate);
  }
  return out;
}

}  // namespace rhumb::followup
