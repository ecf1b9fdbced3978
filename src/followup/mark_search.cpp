#include "followup/mark_search.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "followup/mark_standing.h"

namespace rhumb::followup {
namespace {

constexpr double pi = std::numbers::pi;
constexpr int most_pieces = 5;
constexpr double grid_step = 0.0125;  // limbal radii, of places tried
constexpr double most_off_centre = 0.2;
constexpr double nearest_row = 0.24, farthest_row = 0.64;  // of a row's middle, limbal radii
constexpr double apart_rad = 0.07, apart = 0.04;           // two places of one candidate are nearer

constexpr double cannot_be = -1e9;
constexpr double unseen_cost = 0.7;  // a piece that can't be seen is not evidence for itself

struct Row {
  double evidence = cannot_be;
  double contrast = 0;  // signed logarithm: of the mean of its pieces, 0 below one deviation
};

Row row_at(const Standing& standing, const MarkPattern& pattern, const MarkPlace& place, int side) {
  std::array<double, most_pieces> z{};
  int seen = 0;
  for (int k = 0; k < pattern.pieces; ++k)
    if (standing.at(place.piece(pattern, side, k), z[static_cast<std::size_t>(seen)])) ++seen;
  if (seen == 0) return {};
  double mean = 0;
  for (int k = 0; k < seen; ++k) mean += z[static_cast<std::size_t>(k)] / seen;
  return {row_evidence(z.data(), seen) - unseen_cost * (pattern.pieces - seen),
          std::copysign(std::log(std::max(1.0, std::abs(mean))), mean)};
}

// Both ends of a lens are marked alike; light may fall on one and not on the other.
double unlike_cost(double contrast_a, double contrast_b) {
  constexpr double spread = 0.8;  // natural logarithms
  constexpr double most = 20;
  constexpr double other_sign = 5;  // only a slit of light may show one dark and one light
  const double off = (std::abs(contrast_a) - std::abs(contrast_b)) / spread;
  return std::min(most, 0.5 * off * off) + (contrast_a * contrast_b < 0 ? other_sign : 0.0);
}

// What both ends say together. The weaker one counts most: one strong row alone is a reflex, a lash
// or an instrument, whatever its contrast.
double together(const Row& a, const Row& b) {
  constexpr double of_the_rest = 0.3;
  const double less = std::min(a.evidence, b.evidence), more = std::max(a.evidence, b.evidence);
  return std::max(cannot_be,
                  2 * less + of_the_rest * (more - less) - unlike_cost(a.contrast, b.contrast));
}

double place_cost(const MarkPlace& place, const MarkOptions& o) {
  const double far = (place.distance - o.distance_mean) / o.distance_sd;
  const double off = (place.centre - o.centre_mean).norm() / o.centre_sd;
  return 0.5 * far * far + 0.5 * off * off;
}

void judge(MarkPlace& place, const Standing& standing, const MarkPattern& pattern,
           const MarkOptions& o) {
  const Row a = row_at(standing, pattern, place, 1), b = row_at(standing, pattern, place, -1);
  place.score_a = a.evidence;
  place.score_b = b.evidence;
  place.score = std::max(cannot_be, together(a, b) - place_cost(place, o));
}

// A row that stands out by itself, and where.
struct StrongRow {
  Eigen::Vector2d middle = Eigen::Vector2d::Zero();
  Row row;
};
constexpr double strong = 3.0;  // one end at least holds half of what makes a candidate

// Rows of a direction and step about the points of a grid. Nearly all of them are told from a sum.
std::vector<StrongRow> strong_rows(const Standing& standing, const MarkPattern& pattern,
                                   MarkPlace place) {
  std::vector<StrongRow> out;
  const double scale = standing.pupil->scale;
  const int reach = static_cast<int>(std::ceil((farthest_row + most_off_centre) / grid_step));
  std::array<cv::Point, most_pieces> offset;
  place.centre.setZero();
  for (int k = 0; k < pattern.pieces; ++k) {
    const Eigen::Vector2d p = scale * place.piece(pattern, 1, k);
    offset[static_cast<std::size_t>(k)] = {static_cast<int>(std::lround(p.x())),
                                           static_cast<int>(std::lround(-p.y()))};
  }
  for (int y = -reach; y <= reach; ++y)
    for (int x = -reach; x <= reach; ++x) {
      const Eigen::Vector2d middle = Eigen::Vector2d(x, y) * grid_step;
      const Eigen::Vector2d at = standing.pupil->pixel(middle);
      const cv::Point pixel(static_cast<int>(std::lround(at.x())),
                            static_cast<int>(std::lround(at.y())));
      float sum = 0;
      for (int k = 0; k < pattern.pieces; ++k) {
        const cv::Point p = pixel + offset[static_cast<std::size_t>(k)];
        if (p.x >= 0 && p.y >= 0 && p.x < standing.out.cols && p.y < standing.out.rows)
          sum += std::abs(standing.out.at<float>(p));
      }
      if (sum < static_cast<float>(strong)) continue;
      place.centre = middle;
      const Row row = row_at(standing, pattern, place, 1);
      if (row.evidence >= strong) out.push_back({middle, row});
    }
  return out;
}

// Best place for one direction and step over a grid of places.
MarkPlace best_on_grid(const Standing& standing, const MarkPattern& pattern, double direction_rad,
                       double step, const MarkOptions& o) {
  MarkPlace best, partner;
  partner.direction_rad = direction_rad;
  partner.step = step;
  const Eigen::Vector2d u(std::cos(direction_rad), std::sin(direction_rad));
  for (const StrongRow& found : strong_rows(standing, pattern, partner))
    for (const int side : {1, -1})
      for (double d = nearest_row; d < farthest_row; d += grid_step) {
        MarkPlace place = partner;
        place.centre = found.middle - side * d * u;
        if ((place.centre - o.centre_mean).norm() > o.most_decentred) continue;
        place.distance = d;
        const double cost = place_cost(place, o);
        if (2 * found.row.evidence - cost <= best.score) continue;  // the stronger end decides
        partner.centre = place.centre - side * d * u;
        const Row other = row_at(standing, pattern, partner, 1);
        place.score = together(found.row, other) - cost;
        if (place.score > best.score) best = place;
      }
  return best;
}

// Climbs on the exact response, one coordinate after the other, in ever smaller steps.
void climb(MarkPlace& place, const Standing& standing, const MarkPattern& pattern,
           const MarkOptions& o) {
  judge(place, standing, pattern, o);
  for (double step = 0.008; step > 0.0015; step *= 0.5)
    for (int round = 0; round < 4; ++round) {
      const double before = place.score;
      for (int which = 0; which < 5; ++which)
        for (const double by : {-step, step}) {
          MarkPlace moved = place;
          switch (which) {
            case 0:
              moved.direction_rad += by / std::max(0.2, place.distance);
              break;
            case 1:
              moved.centre.x() += by;
              break;
            case 2:
              moved.centre.y() += by;
              break;
            case 3:
              moved.distance += by;
              break;
            default:
              moved.step += 0.5 * by;
              break;
          }
          if (moved.step < 0.8 * pattern.steps.front() || moved.step > 1.2 * pattern.steps.back())
            continue;
          judge(moved, standing, pattern, o);
          if (moved.score > place.score) place = moved;
        }
      if (place.score <= before) break;
    }
}

}  // namespace

MarkPattern pattern_of(const casefile::LensMarks& lens, const MarkOptions& options) {
  MarkPattern out;
  if (lens.marks == casefile::MarkKind::Lines) {
    out.pieces = 3;  // so long that neighbours share little of their noise
    out.along = true;
    for (const double length : options.line_mm)
      out.steps.push_back(length / options.limbus_mm / out.pieces);
    out.size = out.steps[1];
    if (options.known_step > 0) out.steps = {options.known_step};
    return out;
  }
  out.pieces = std::clamp(lens.marks_per_end, 1, most_pieces);
  out.size = options.dot_mm / options.limbus_mm;
  const double least = options.least_dot_step_mm / options.limbus_mm;
  const double most = options.most_dot_step_mm / options.limbus_mm;
  if (out.pieces == 1 || options.known_step > 0) {
    out.steps = {options.known_step > 0 ? options.known_step : least};
    return out;
  }
  for (double step = least; step < most; step += 0.007) out.steps.push_back(step);
  return out;
}

Eigen::Vector2d MarkPlace::piece(const MarkPattern& pattern, int side, int k) const {
  const Eigen::Vector2d u(std::cos(direction_rad), std::sin(direction_rad));
  return centre + side * (distance + (k - 0.5 * (pattern.pieces - 1)) * step) * u;
}

double row_evidence(const double* standing_out, int pieces) {
  constexpr double alike = 0.35;   // of the pieces' contrast, one to another
  constexpr double hidden = -4.0;  // a piece that should show and does not
  constexpr double decades = 5.3;  // natural logarithm of the range of contrasts, all as likely
  constexpr double own_variance = 1.3;
  constexpr double stray = 0.03;  // of places that are no mark: anything at all
  constexpr double root_two_pi = 2.5066283;
  double mean = 0;
  for (int k = 0; k < pieces; ++k) mean += standing_out[k] / pieces;
  const double size = std::max(1.0, std::abs(mean));
  const double variance = own_variance + alike * alike * mean * mean;
  // The contrast is one number fitted to the row: what that is worth goes off (Laplace).
  double out = std::log(root_two_pi * std::sqrt(variance / pieces) / (2 * decades * size));
  const double height = -0.5 * std::log(variance) - std::log(root_two_pi);
  for (int k = 0; k < pieces; ++k) {
    const double z = standing_out[k], off = z - mean;
    const double none = std::log((1 - stray) * std::exp(-0.5 * z * z / own_variance) /
                                     (root_two_pi * std::sqrt(own_variance)) +
                                 stray / (2 * std::max(1.0, z * z)));
    out += std::max(hidden, height - 0.5 * off * off / variance - none);
  }
  return out;
}

namespace {

// Best row of one direction and step by itself, on either side of a lens centre that may be.
MarkPlace best_row(const Standing& standing, const MarkPattern& pattern, double direction_rad,
                   double step, const MarkOptions& o) {
  MarkPlace best, place;
  place.direction_rad = direction_rad;
  place.step = step;
  const Eigen::Vector2d u(std::cos(direction_rad), std::sin(direction_rad));
  for (const StrongRow& found : strong_rows(standing, pattern, place))
    for (const int side : {1, -1})
      for (const double d : {-1.0, -0.5, 0.0, 0.5, 1.0}) {
        place.direction_rad = side > 0 ? direction_rad : direction_rad + pi;
        place.distance = o.distance_mean + d * o.distance_sd;
        place.centre = found.middle - side * place.distance * u;
        if ((place.centre - o.centre_mean).norm() > o.most_decentred) continue;
        place.score_a = found.row.evidence;
        place.score = place.score_a - place_cost(place, o);
        if (place.score > best.score) best = place;
      }
  return best;
}

std::vector<MarkPlace> apart_best(std::vector<MarkPlace> places, double period_rad, int most) {
  std::stable_sort(places.begin(), places.end(),
                   [](const MarkPlace& a, const MarkPlace& b) { return a.score > b.score; });
  std::vector<MarkPlace> out;
  for (const MarkPlace& place : places) {
    if (static_cast<int>(out.size()) >= most) break;
    const bool new_one = std::none_of(out.begin(), out.end(), [&](const MarkPlace& other) {
      return std::abs(std::remainder(place.direction_rad - other.direction_rad, period_rad)) <
                 apart_rad &&
             std::abs(place.distance - other.distance) < apart;
    });
    if (new_one) out.push_back(place);
  }
  return out;
}

// The best place of every direction of half a turn: best_of(wide, direction, step) over the steps,
// then finish(place, exact).
template <typename BestOf, typename Finish>
std::vector<MarkPlace> over_directions(const StraightPupil& picture, const MarkPattern& pattern,
                                       BestOf best_of, Finish finish) {
  StraightPupil pupil = picture;
  pupil.bright = filled(picture);
  const int directions = pattern.along ? 60 : 120;
  std::vector<MarkPlace> out;
  Standing exact, wide;
  for (int k = 0; k < directions; ++k) {
    const double phi = k * pi / directions;
    if (k == 0 || pattern.along) {  // spots are the same in every direction
      exact = standing_out(pupil, pattern.along, phi, pattern.size);
      wide = widened(exact);
    }
    MarkPlace best;
    for (const double step : pattern.steps) {
      const MarkPlace place = best_of(wide, phi, step);
      if (place.score > best.score) best = place;
    }
    if (best.score > 0) finish(best, exact);
    if (best.score > 0) out.push_back(best);
  }
  return out;
}

}  // namespace

std::vector<MarkPlace> search_marks(const StraightPupil& pupil, const MarkPattern& pattern,
                                    const MarkOptions& options) {
  const auto best_of = [&](const Standing& wide, double phi, double step) {
    return best_on_grid(wide, pattern, phi, step, options);
  };
  const auto finish = [&](MarkPlace& place, const Standing& exact) {
    climb(place, exact, pattern, options);
    if (std::min(place.score_a, place.score_b) < least_end) place.score = cannot_be;
  };
  return apart_best(over_directions(pupil, pattern, best_of, finish), pi, options.most);
}

std::vector<MarkPlace> search_rows(const StraightPupil& pupil, const MarkPattern& pattern,
                                   const MarkOptions& options) {
  const auto best_of = [&](const Standing& wide, double phi, double step) {
    return best_row(wide, pattern, phi, step, options);
  };
  const auto as_it_is = [](MarkPlace&, const Standing&) {};
  return apart_best(over_directions(pupil, pattern, best_of, as_it_is), 2 * pi, options.most);
}

}  // namespace rhumb::followup
