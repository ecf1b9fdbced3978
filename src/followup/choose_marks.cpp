#include "followup/choose_marks.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "followup/series.h"

namespace rhumb::followup {
namespace {

constexpr double distance_sd = 0.015;        // limbal radii: limbal radius and measuring
constexpr double most_distance_cost = 40.0;  // a lens does not change
constexpr double turn_sd = 0.12;  // radians; rotation after surgery is seldom more than 10 degrees
constexpr double most_turn_cost = 5.0;  // but one lens in thirty may have turned by anything
// Logarithms of a likelihood ratio. There are some ten thousand places for a pattern to turn up in
// by chance; along a line noise is alike, and it takes more. A few hundred places where the other
// photographs say where, a few dozen for one end alone, which is a smaller claim.
constexpr double least_dots = 10.0, least_line = 20.0, least_expected = 9.0, least_one_end = 7.0;
constexpr double least_margin = 3.0;           // over the best other direction: one in twenty
constexpr double other_direction_rad = 0.026;  // 1.5 degrees apart is another direction

double eye_direction(const JointSolution& joint, int p, const MarkCandidate& candidate) {
  return joint.eye_direction(p, candidate.direction_rad());
}

double value_of(const MarkCandidate& candidate, double direction, double distance, double axis) {
  const double off = (candidate.distance - distance) / distance_sd;
  const double turn = angle::wrap_deviation(direction - axis) / turn_sd;
  return candidate.score - std::min(most_distance_cost, 0.5 * off * off) -
         std::min(most_turn_cost, 0.5 * turn * turn);
}

}  // namespace

double least_score(const MarkCandidate& candidate, const casefile::LensMarks& lens) {
  if (candidate.one_end) return least_one_end;
  if (lens.marks == casefile::MarkKind::Lines) return least_line;
  return candidate.expected ? least_expected : least_dots;
}

double choose_marks(SeriesOutcome& series, const JointSolution& joint) {
  const int count = static_cast<int>(series.photos.size());
  double best_total = -1e9, distance = 0, axis = 0;
  for (int p = 0; p < count; ++p)
    for (const MarkCandidate& guess : series.photos[static_cast<std::size_t>(p)].candidates) {
      const double supposed = eye_direction(joint, p, guess);
      double total = 0;
      for (int q = 0; q < count; ++q) {
        double best = 0;
        for (const MarkCandidate& candidate : series.photos[static_cast<std::size_t>(q)].candidates)
          best = std::max(best, value_of(candidate, eye_direction(joint, q, candidate),
                                         guess.distance, supposed));
        total += best;
      }
      if (total > best_total) {
        best_total = total;
        distance = guess.distance;
        axis = supposed;
      }
    }
  for (int p = 0; p < count; ++p) {
    PhotoResult& photo = series.photos[static_cast<std::size_t>(p)];
    std::vector<double> value, direction;
    for (const MarkCandidate& candidate : photo.candidates) {
      direction.push_back(eye_direction(joint, p, candidate));
      value.push_back(value_of(candidate, direction.back(), distance, axis));
    }
    photo.chosen = -1;
    if (value.empty()) continue;
    const auto top = std::max_element(value.begin(), value.end()) - value.begin();
    const auto k = static_cast<std::size_t>(top);
    // Directions that this reading can't tell apart are one.
    const double other = std::max(other_direction_rad, 2 * photo.candidates[k].se_rad);
    double second = -1e9;
    for (std::size_t i = 0; i < value.size(); ++i)
      if (std::abs(angle::wrap_deviation(direction[i] - direction[k])) > other)
        second = std::max(second, value[i]);
    if (value[k] < least_score(photo.candidates[k], series.stated.lens)) {
      photo.why_not = "the lens marks can't be read";
    } else if (value[k] - second < least_margin) {
      photo.why_not = "two directions look alike to be the lens marks";
    } else {
      photo.chosen = static_cast<int>(top);
      photo.why_not.clear();
    }
  }
  return distance;
}

}  // namespace rhumb::followup
