#include "followup/photo_marks.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "followup/mark_line.h"

namespace rhumb::followup {
namespace {

constexpr double fine = 360.0;    // pixels a limbal radius: a dot of 0.15 mm is 9 across
constexpr double coarse = 160.0;  // two pixels a step of the search

struct Pupils {
  StraightPupil small, large;
};

Pupils pupils_of(const reference::Photo& photo, const eye::LimbusEllipse& limbus,
                 const MarkPattern& pattern) {
  // A line is narrower than a disc, and a little one at its ends.
  const double least_disc = pattern.along ? 0.12 : 0.15;
  Pupils out{straighten(photo, limbus, coarse, least_disc),
             straighten(photo, limbus, fine, least_disc)};
  const auto pupil = find_photo_pupil(out.small.bright, out.small.clear, coarse);
  if (pupil) {
    keep_pupil(out.small, *pupil);
    keep_pupil(out.large, *pupil);
  }
  return out;
}

MarkCandidate candidate_of(const MarkPlace& place) {
  MarkCandidate out;
  out.distance = place.distance;
  out.step = place.step;
  out.score_a = place.score_a;
  out.score_b = place.score_b;
  out.score = place.score;
  return out;
}

}  // namespace

double MarkCandidate::direction_rad() const {
  const Eigen::Vector2d d = end_a - end_b;
  return std::atan2(d.y(), d.x());
}

std::vector<MarkCandidate> find_marks(const reference::Photo& photo,
                                      const eye::LimbusEllipse& limbus,
                                      const casefile::LensMarks& lens, const MarkOptions& options) {
  const MarkPattern pattern = pattern_of(lens, options);
  const Pupils pupils = pupils_of(photo, limbus, pattern);
  std::vector<MarkCandidate> out;
  for (const MarkPlace& place : search_marks(pupils.small, pattern, options)) {
    const auto line = measure_line(pupils.large, pattern, place);
    if (!line) continue;
    MarkCandidate candidate = candidate_of(place);
    const Eigen::Vector2d u(std::cos(line->direction_rad), std::sin(line->direction_rad));
    candidate.end_a = line->centre + place.distance * u;
    candidate.end_b = line->centre - place.distance * u;
    candidate.se_rad = line->se_rad;
    out.push_back(candidate);
  }
  return out;
}

std::vector<MarkCandidate> find_one_end(const reference::Photo& photo,
                                        const eye::LimbusEllipse& limbus,
                                        const casefile::LensMarks& lens,
                                        const MarkOptions& options) {
  const MarkPattern pattern = pattern_of(lens, options);
  const Pupils pupils = pupils_of(photo, limbus, pattern);
  std::vector<MarkCandidate> out;
  for (const MarkPlace& place : search_rows(pupils.small, pattern, options)) {
    const auto row = measure_row(pupils.large, pattern, place);
    if (!row) continue;
    const Eigen::Vector2d from_centre = row->centre - options.centre_mean;
    const double by_centre = std::atan2(from_centre.y(), from_centre.x());
    const double by_centre_se = options.centre_sd / options.distance_mean;
    const double off = std::remainder(by_centre - row->direction_rad, 2 * std::numbers::pi);
    const double spread = std::hypot(by_centre_se, row->se_rad);
    if (std::abs(off) > 3 * spread) continue;  // it does not point at the lens centre
    const double share = row->se_rad * row->se_rad / (spread * spread);
    const double direction = row->direction_rad + share * off;
    MarkCandidate candidate = candidate_of(place);
    candidate.one_end = true;
    candidate.end_a = row->centre;
    candidate.end_b = row->centre - 2 * options.distance_mean *
                                        Eigen::Vector2d(std::cos(direction), std::sin(direction));
    candidate.distance = options.distance_mean;
    candidate.se_rad = row->se_rad * by_centre_se / spread;
    out.push_back(candidate);
  }
  return out;
}

}  // namespace rhumb::followup
