#include "eye/ring_limbus.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "eye/harmonics.h"
#include "eye/median.h"

namespace rhumb::eye {

namespace {

constexpr std::size_t planes_count = 3;

using Matrix5 = Eigen::Matrix<double, 5, 5>;

// Radius by direction: an ellipse of small flattening, as weights of its harmonics.
struct Curve {
  Vector5 x = (Vector5() << 1.0, 0.0, 0.0, 0.0, 0.0).finished();
  double support = 0.0;  // share of the directions that have their step on it
};

// What is known of it before looking, about a limbus that single pictures gave. A cornea is 6 to 7
// % wider than high (ruler study of 51 adults: 11.25 and 10.44 mm, from memory), which is 0.03 in
// harmonics; head and tilt turn and flatten it by some of that.
struct Usual {
  Vector5 x = (Vector5() << 1.0, 0.0, 0.0, 0.03, 0.0).finished();
  Vector5 sd = (Vector5() << 0.06, 0.06, 0.06, 0.02, 0.02).finished();
};

constexpr double independent = independent_edges / ring_directions;  // of one direction

// Where a direction has its step, given the curve to within `spread`.
struct Say {
  double radius = 0.0;    // by itself: the curve's own pull is taken off
  double variance = 0.0;  // of that
  double weight = 0.0;
  double share = 0.0;  // that it is the limbus, not another edge
};

Say say_of(const RingDirection& direction, double middle, const std::vector<double>& places,
           double spread) {
  constexpr double stray = 0.15;  // share of directions that show another edge
  const double span = places.back() - places.front();
  const double top =
      *std::max_element(direction.log_likelihood.begin(), direction.log_likelihood.end());
  double on = 0.0;
  double off = 0.0;
  double moment = 0.0;
  double moment2 = 0.0;
  for (std::size_t p = 0; p < places.size(); ++p) {
    const double likelihood = std::exp(direction.log_likelihood[p] - top);
    const double beside = places[p] - middle;
    const double near = likelihood * (1.0 - stray) *
                        std::exp(-0.5 * beside * beside / (spread * spread)) /
                        (spread * std::sqrt(2.0 * std::numbers::pi));
    on += near;
    off += likelihood * stray / span;
    moment += near * beside;
    moment2 += near * beside * beside;
  }
  if (!(on > 0.0)) return {};
  const double mean = moment / on;
  const double variance = std::max(1e-6, moment2 / on - mean * mean);
  const double own = std::max(0.05 / variance, 1.0 / variance - 1.0 / (spread * spread));
  const double share = on / (on + off);
  return {middle + mean / (variance * own), 1.0 / own,
          independent * share / (spread * spread + 1.0 / own), share};
}

// One round: what each direction says given the curve, then the curve.
Curve improve(const Curve& curve, const std::vector<RingDirection>& all,
              const std::vector<double>& places, double spread) {
  const Usual usual;
  Matrix5 h = usual.sd.cwiseAbs2().cwiseInverse().asDiagonal();
  Vector5 g = h * usual.x;
  Curve out;
  for (const RingDirection& direction : all) {
    const Vector5 a = harmonics(direction.meridian_rad);
    const Say say = say_of(direction, a.dot(curve.x), places, spread);
    h += say.weight * a * a.transpose();
    g += say.weight * a * say.radius;
    out.support += say.share / ring_directions;
  }
  out.x = h.ldlt().solve(g);
  return out;
}

double mean_radius(const Curve& curve, const std::vector<RingDirection>& all,
                   const std::vector<double>& places, double spread) {
  double sum = 0.0;
  double weights = 0.0;
  for (const RingDirection& direction : all) {
    const double middle = harmonics(direction.meridian_rad).dot(curve.x);
    const Say say = say_of(direction, middle, places, spread);
    sum += say.weight * (say.radius - middle);
    weights += say.weight;
  }
  return curve.x(0) + (weights > 0.0 ? sum / weights : 0.0);
}

Curve fit_curve(const std::vector<RingDirection>& all, const std::vector<double>& places) {
  Curve curve;
  // From wide enough to reach a limbus found some per cent beside its place, to an eye's own
  // irregularity.
  for (const double spread : {0.05, 0.035, 0.025, 0.018, 0.012})
    for (int round = 0; round < 10; ++round) curve = improve(curve, all, places, spread);
  return curve;
}

// How far a plane's edges lie beside the limbus, alike over thirty degrees. Where its step differs
// from direction to direction by a share of itself, a shade or a redness of that share lies about
// the limbus too and moves the middle by as much of the transition. Colour has more of its own.
double common_error(std::size_t plane, const ExpectedStep& expected) {
  constexpr std::array<double, planes_count> least = {0.008, 0.015, 0.015};
  constexpr double transition = 0.03;  // limbal radii
  const double uneven = std::min(3.0, expected.step_sd / std::max(1e-4, std::abs(expected.step)));
  return std::hypot(least[plane], transition * uneven);
}

// The curve by all planes, each for itself beside a shift of its own all round (a colour mixes
// along the transition in another way than brightness) and as far as its edges are to be trusted.
Curve refine_by_planes(Curve curve, const std::array<std::vector<RingDirection>, 3>& alone,
                       const std::vector<double>& places, const ExpectedSteps& expected) {
  constexpr double shift_sd = 0.03;
  const Usual usual;
  std::array<double, planes_count> shift{};
  for (const double least_spread : {0.03, 0.025, 0.02, 0.015, 0.012}) {
    for (int round = 0; round < 8; ++round) {
      Matrix5 h = usual.sd.cwiseAbs2().cwiseInverse().asDiagonal();
      Vector5 g = h * usual.x;
      for (std::size_t plane = 0; plane < planes_count; ++plane) {
        const double error = common_error(plane, expected[plane]);
        const double spread = std::max(least_spread, std::min(error, 0.03));
        double beside = 0.0;
        double weights = 1.0 / (shift_sd * shift_sd);
        for (const RingDirection& direction : alone[plane]) {
          const Vector5 a = harmonics(direction.meridian_rad);
          const double on_curve = a.dot(curve.x);
          const Say say = say_of(direction, on_curve + shift[plane], places, spread);
          const double weight = independent * say.share / (error * error + say.variance);
          h += weight * a * a.transpose();
          g += weight * a * (say.radius - shift[plane]);
          beside += weight * (say.radius - on_curve);
          weights += weight;
        }
        if (plane > 0) shift[plane] = beside / weights;
      }
      curve.x = h.ldlt().solve(g);
    }
  }
  return curve;
}

// The mean radius alone, the curve's shape and place kept.
double size_of(const Curve& curve, const std::vector<RingDirection>& all,
               const std::vector<double>& places) {
  Curve sized = curve;
  for (const double spread : {0.03, 0.012})
    for (int round = 0; round < 10; ++round) sized.x(0) = mean_radius(sized, all, places, spread);
  return sized.x(0);
}

// What the directions that show the limbus tell of its centre: 0.006 is left all round. Where a
// part lies outside the picture or under a lid, an ellipse's form and size trade with its place:
// half a circumference leaves 0.03 to 0.06. The form is taken for unknown, since other edges pass
// for the limbus beyond the picture's rim.
Eigen::Matrix2d centre_covariance(const Curve& curve, const std::vector<RingDirection>& all,
                                  const std::vector<double>& places) {
  const Vector5 unknown = (Vector5() << 0.1, 0.1, 0.1, 0.06, 0.06).finished();
  Matrix5 h = unknown.cwiseAbs2().cwiseInverse().asDiagonal();
  for (const RingDirection& direction : all) {
    const Vector5 a = harmonics(direction.meridian_rad);
    const Say say = say_of(direction, a.dot(curve.x), places, common_edge_error);
    h += independent * say.share / (common_edge_error * common_edge_error + say.variance) * a *
         a.transpose();
  }
  const Matrix5 covariance = h.inverse();
  return covariance.block<2, 2>(1, 1);
}

// Noise, and step with its scatter, of each plane along the curve.
ExpectedSteps expectation_along(const Curve& curve, const std::vector<RingDirection>& all,
                                const std::vector<double>& places) {
  ExpectedSteps out;
  const double place_step = places[1] - places[0];
  for (std::size_t plane = 0; plane < planes_count; ++plane) {
    std::vector<double> steps;
    std::vector<double> squares;
    for (const RingDirection& direction : all) {
      const double r = harmonics(direction.meridian_rad).dot(curve.x);
      const auto p =
          static_cast<std::size_t>(std::clamp(std::lround((r - places.front()) / place_step), 0L,
                                              static_cast<long>(places.size()) - 1));
      steps.push_back(direction.step[p][plane]);
      squares.push_back(direction.square[p][plane]);
    }
    out[plane].step = median_of(steps);
    for (double& step : steps) step = std::abs(step - out[plane].step);
    out[plane].noise = std::max(0.003, std::sqrt(median_of(squares)));
    out[plane].step_sd = std::max(0.005, mad_to_sd * median_of(steps));
  }
  return out;
}

// Before anything is known: what is left of each plane when only a level is taken off.
ExpectedSteps first_expectation(const std::vector<RingDirection>& all) {
  ExpectedSteps out;
  for (std::size_t plane = 0; plane < planes_count; ++plane) {
    std::vector<double> spreads;
    for (const RingDirection& direction : all) {
      const std::vector<double>& profile = direction.profile[plane];
      const double level = median_of(profile);
      double squares = 0.0;
      for (const double value : profile) squares += (value - level) * (value - level);
      spreads.push_back(squares / static_cast<double>(profile.size()));
    }
    out[plane].noise = std::max(0.003, 0.3 * std::sqrt(median_of(spreads)));
  }
  return out;
}

}  // namespace

LimbusInAtlas find_ring_limbus(const RingPlanes& planes, const RingShape& shape) {
  const std::vector<double> places = step_places(shape);
  std::vector<RingDirection> all = read_directions(planes, shape);
  LimbusInAtlas limbus;
  constexpr double unseen_sd = 0.05;  // of the limbi that single pictures gave
  limbus.centre_cov = Eigen::Matrix2d::Identity() * (unseen_sd * unseen_sd);
  if (all.size() < ring_directions / 4) return limbus;
  ExpectedSteps expected = first_expectation(all);
  Curve curve;
  for (int round = 0; round < 3; ++round) {
    fit_steps(shape, places, expected, all_planes, all);
    curve = fit_curve(all, places);
    expected = expectation_along(curve, all, places);
  }
  std::array<std::vector<RingDirection>, planes_count> alone;
  for (std::size_t plane = 0; plane < planes_count; ++plane) {
    PlaneWeights only{};
    only[plane] = 1.0;
    alone[plane] = all;
    fit_steps(shape, places, expected, only, alone[plane]);
  }
  curve = refine_by_planes(curve, alone, places, expected);
  // Brightness tells how large: where along the transition a colour changes most is its own.
  curve.x(0) = size_of(curve, alone[0], places);
  if (expected[0].step <= 0.0 && curve.support < 0.3) return limbus;
  const double flat = std::hypot(curve.x(3), curve.x(4));
  limbus.centre = {curve.x(1), curve.x(2)};
  limbus.semi_major = curve.x(0) + flat;
  limbus.semi_minor = curve.x(0) - flat;
  limbus.angle_rad = 0.5 * std::atan2(curve.x(4), curve.x(3));
  limbus.arc_share = curve.support;
  limbus.centre_cov = centre_covariance(curve, alone[0], places);
  return limbus;
}

}  // namespace rhumb::eye
