#include "analyze/place_lens.h"

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

constexpr double farthest_turn_rad = 0.06;  // of one end from where it is looked for
constexpr double most_gain = 1.5;           // an instrument is no better mark than the marks
// The search about the expected centre, limbal radii. Across the axis the turns of the ends tell
// what lies between.
constexpr double step_along = radial_grid.step;
constexpr int steps_along = 5;
constexpr int steps_along_in_bag = 3;
constexpr double step_across = 0.025;
constexpr int steps_across = 2;
// A template reaches 4 degrees either way; a lens that is spun may turn by more in a frame.
constexpr double step_turn_rad = 0.1;
constexpr int axis_steps = 45;  // of half a turn: 4 degrees, within a template's reach

// Matches count less far from where the lens lies in its bag: an instrument that turns it pushes it
// by a third of a millimetre (a guess). Standard deviation, limbal radii.
double in_the_bag(const Eigen::Vector2d& off) {
  constexpr double push = 0.05;
  return std::exp(-0.5 * off.squaredNorm() / (push * push));
}

double match_of(const lens::TurnEstimate& end) {
  if (std::abs(end.turn_rad) > farthest_turn_rad) return 0.0;
  return std::clamp(end.gain, 0.0, most_gain) / (end.gain_se * std::max(1.0, end.misfit));
}

}  // namespace

double LensFinder::match_at(std::size_t frame, double axis_rad,
                            const Eigen::Vector2d& centre) const {
  const EndPair pair = measure(look(frame, std::nullopt), axis_rad, centre);
  return match_of(pair.a) + match_of(pair.b);
}

Place LensFinder::find(std::size_t frame, const Place& expected, double enough,
                       const std::optional<Eigen::Vector2d>& bag_centre) const {
  constexpr Grid close{1, 1};
  const Grid wide{bag_centre ? steps_along_in_bag : steps_along, steps_across};
  const Look at = look(frame, bag_centre);
  Place best{expected.axis_rad, expected.centre, 0.0, false};
  const auto is_enough = [&] { return best.both_show && best.match >= enough; };
  search(at, expected, close, best);
  if (!is_enough()) search(at, expected, wide, best);
  for (const double turn : {-step_turn_rad, step_turn_rad}) {
    if (is_enough()) break;
    Place turned = expected;
    turned.axis_rad += turn;
    search(at, turned, wide, best);
  }
  // Then between the steps, from where the ends' turns say that the axis and the centre are.
  if (best.match > 0.0) search_between(at, Place(best), best);
  return best;
}

Place LensFinder::about(std::size_t frame, const lens::ContrastMap& map, double axis_rad,
                        const Eigen::Vector2d& bag_centre) const {
  Place best{axis_rad, bag_centre, 0.0, false};
  search({frame, map, bag_centre}, Place(best), {steps_along_in_bag, steps_across}, best);
  return best;
}

Place LensFinder::anywhere(std::size_t frame, const lens::ContrastMap& map,
                           const Eigen::Vector2d& bag_centre) const {
  Place best;
  for (int step = 0; step < axis_steps; ++step) {
    const Place place = about(frame, map, step * angle::pi / axis_steps, bag_centre);
    if (place.both_show && place.match > best.match) best = place;
  }
  return best;
}

LensFinder::Look LensFinder::look(std::size_t frame,
                                  const std::optional<Eigen::Vector2d>& bag_centre) const {
  return {frame, contrast_of(source_, source_.patches.at(frame)), bag_centre};
}

EndPair LensFinder::measure(const Look& look, double axis_rad,
                            const Eigen::Vector2d& centre) const {
  return measure_at(source_, look.frame, look.map, axis_rad, centre, ends_.form);
}

Place LensFinder::solved(const EndPair& pair, double axis_rad,
                         const Eigen::Vector2d& centre) const {
  const double a = pair.a.turn_rad + ends_.offset_a_rad;
  const double b = pair.b.turn_rad + ends_.offset_b_rad;
  const Levers levers{ends_.form.a.mean_distance, ends_.form.b.mean_distance};
  const Eigen::Vector2d across(-std::sin(axis_rad), std::cos(axis_rad));
  return {axis_rad + levers.turn_of(a, b), centre + levers.offset_of(a, b) * across,
          match_of(pair.a) + match_of(pair.b), shows(pair.a) && shows(pair.b)};
}

void LensFinder::keep_better(const Look& look, const EndPair& pair, double axis_rad,
                             const Eigen::Vector2d& centre, Place& best) const {
  Place place = solved(pair, axis_rad, centre);
  if (look.bag_centre) place.match *= in_the_bag(place.centre - *look.bag_centre);
  if (place.match > best.match) best = place;
}

void LensFinder::search(const Look& look, const Place& from, const Grid& grid, Place& best) const {
  const Eigen::Vector2d along(std::cos(from.axis_rad), std::sin(from.axis_rad));
  const Eigen::Vector2d across(-along.y(), along.x());
  for (int aside = -grid.steps_across; aside <= grid.steps_across; ++aside) {
    const Eigen::Vector2d middle = from.centre + step_across * aside * across;
    const auto pairs = measure_along(source_, look.frame, look.map, from.axis_rad, middle,
                                     ends_.form, grid.steps_along);
    int far = -grid.steps_along;
    for (const EndPair& pair : pairs)
      keep_better(look, pair, from.axis_rad, middle + step_along * far++ * along, best);
  }
}

void LensFinder::search_between(const Look& look, const Place& from, Place& best) const {
  const Eigen::Vector2d along(std::cos(from.axis_rad), std::sin(from.axis_rad));
  for (const double step : {-step_along / 3.0, 0.0, step_along / 3.0}) {
    const Eigen::Vector2d centre = from.centre + step * along;
    keep_better(look, measure(look, from.axis_rad, centre), from.axis_rad, centre, best);
  }
}

}  // namespace rhumb::analyze
