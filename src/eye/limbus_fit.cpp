#include "eye/limbus_fit.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "eye/harmonics.h"
#include "eye/median.h"

namespace rhumb::eye::limbus_fit {
namespace {

constexpr double pi = std::numbers::pi;

struct Edge {
  double theta = 0;      // direction from the centre
  double log_shift = 0;  // of the edge against the ellipse
  double strength = 0;   // step over the ring's usual step
};

// The steepest place of the projected step within the window, by sector.
std::vector<Edge> edges_of(const Steps& steps, const Unwrapped& polar, const RingStep& ring,
                           double window) {
  std::array<double, 3> weight{};
  double usual = 0;
  for (std::size_t k = 0; k < 3; ++k) {
    weight[k] = ring.middle[k] / (ring.scatter[k] * ring.scatter[k]);
    usual += weight[k] * ring.middle[k];
  }
  std::vector<Edge> out;
  const int mid = static_cast<int>(std::lround(-polar.log_from / polar.log_step));
  const int reach = static_cast<int>(std::ceil(window / polar.log_step));
  std::vector<double> response(static_cast<std::size_t>(steps.columns));
  for (int s = 0; s < steps.sectors; ++s) {
    const std::size_t base = static_cast<std::size_t>(s) * steps.columns;
    int best = -1;
    for (int i = std::max(1, mid - reach); i <= std::min(steps.columns - 2, mid + reach); ++i) {
      if (!steps.valid[base + i - 1] || !steps.valid[base + i + 1]) continue;
      double sum = 0;
      for (std::size_t k = 0; k < 3; ++k) sum += weight[k] * steps.step[base + i][k];
      response[static_cast<std::size_t>(i)] = sum / usual;
      if (best < 0 ||
          response[static_cast<std::size_t>(i)] > response[static_cast<std::size_t>(best)])
        best = i;
    }
    if (best < 0 || response[static_cast<std::size_t>(best)] <= 0.2) continue;
    // The triangle-like response is symmetric about the edge: its centre of mass above half height
    // is steadier than its highest point.
    const double top = response[static_cast<std::size_t>(best)];
    double mass = 0, moment = 0;
    for (int side = -1; side <= 1; side += 2) {
      for (int i = side < 0 ? best : best + 1; i > 0 && i + 1 < steps.columns; i += side) {
        if (!steps.valid[base + i]) break;
        double sum = 0;
        for (std::size_t k = 0; k < 3; ++k) sum += weight[k] * steps.step[base + i][k];
        const double over = sum / usual - 0.5 * top;
        if (over <= 0) break;
        mass += over;
        moment += over * i;
      }
    }
    const double at = moment / mass;
    out.push_back({2 * pi * s / steps.sectors, polar.log_from + at * polar.log_step, top});
  }
  return out;
}

// Shape parameters from edge places: mean, shift and elongation of the log radius, as departures
// from `near`.
struct Shape {
  Vector5 value = Vector5::Zero();
  double scatter = 1;
  double support = 0;  // number of edges that agree
};

constexpr double tolerance = 0.02;  // of the radius: edges nearer than this agree with the ellipse

constexpr int sectors = 96;  // that a ring is looked at in

// `shift`: the expected shift of the centre against `near`, in radii, with `shift_sd`.
Shape fit_shape(const std::vector<Edge>& edges, double window, const Eigen::Vector2d& shift,
                double shift_sd) {
  Shape out;
  out.scatter = window / 2;
  const double prior = 0.05;  // spread of elongation departures that a round may correct
  for (int round = 0; round < 12; ++round) {
    Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Zero();
    Vector5 right = Vector5::Zero();
    std::vector<double> residual;
    const double gate = 2.5 * out.scatter;
    for (const Edge& e : edges) {
      const Vector5 h = harmonics(e.theta);
      const double r = e.log_shift - h.dot(out.value);
      residual.push_back(std::abs(r));
      // Tukey's biweight; weaker steps weigh less, much stronger ones are something else.
      const double t = r / gate;
      const double robust = std::abs(t) < 1 ? (1 - t * t) * (1 - t * t) : 0.0;
      const double w = robust * std::min(e.strength, 1.0 / std::max(e.strength, 1e-6));
      normal += w * h * h.transpose();
      right += w * e.log_shift * h;
    }
    const double ridge = out.scatter * out.scatter / (prior * prior);
    for (int k = 1; k < 5; ++k) normal(k, k) += ridge;
    const double hold =
        sectors / independent_edges * common_edge_error * common_edge_error / (shift_sd * shift_sd);
    normal(1, 1) += hold;
    normal(2, 2) += hold;
    right.segment<2>(1) += hold * shift;
    normal(0, 0) += 1e-9;
    out.value = normal.ldlt().solve(right);
    out.scatter = std::clamp(mad_to_sd * median_of(residual), 0.004, window / 2);
  }
  // Edges of chance fall anywhere in the window; what they would support is taken off.
  double agree = 0;
  for (const Edge& e : edges) {
    const double r = std::abs(e.log_shift - harmonics(e.theta).dot(out.value));
    if (r < tolerance && e.strength > 0.3 && e.strength < 4) agree += 1;
  }
  const double chance = tolerance / window;
  out.support = std::max(0.0, (agree - chance * static_cast<double>(edges.size())) / (1 - chance));
  return out;
}

// Direct least squares would need care with arcs; here the refined edge points come from the smooth
// shape itself, all the way round, so a plain second-order development of the ellipse's radius is
// inverted instead.
LimbusEllipse moved(const LimbusEllipse& near, const Shape& shape) {
  constexpr int points = 48;
  // Points on the new curve, then a linear fit of conic about the old centre.
  Eigen::Matrix<double, points, 5> design;
  Eigen::Matrix<double, points, 1> one;
  const double scale = near.mean_radius_px();
  for (int i = 0; i < points; ++i) {
    const double theta = 2 * pi * i / points;
    const double c = std::cos(theta), s = std::sin(theta);
    const double r =
        radius_towards(near, c, s) * std::exp(harmonics(theta).dot(shape.value)) / scale;
    const double x = r * c, y = r * s;
    design.row(i) << x * x, x * y, y * y, x, y;
    one(i) = 1;
  }
  const Vector5 q = design.colPivHouseholderQr().solve(one);
  Eigen::Matrix2d m;
  m << q(0), q(1) / 2, q(1) / 2, q(2);
  const Eigen::Vector2d centre = -0.5 * m.inverse() * q.tail<2>();
  const double level = 1 + centre.dot(m * centre);
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(m / level);
  LimbusEllipse out;
  out.centre_px = near.centre_px + scale * centre;
  out.semi_major_px = scale / std::sqrt(std::max(1e-6, eigen.eigenvalues()(0)));
  out.semi_minor_px = scale / std::sqrt(std::max(1e-6, eigen.eigenvalues()(1)));
  out.angle_rad = std::atan2(eigen.eigenvectors()(1, 0), eigen.eigenvectors()(0, 0));
  return out;
}

double middle_of_plain(const Steps& steps, int column) {
  std::vector<double> values;
  for (int s = 0; s < steps.sectors; ++s) {
    const std::size_t at = static_cast<std::size_t>(s) * steps.columns + column;
    if (steps.valid[at]) values.push_back(steps.plain[at]);
  }
  return median_of(values);
}

}  // namespace

Fit fit_round(const SmallPicture& small, const LimbusEllipse& near, double window,
              double half_width, bool linear, double chroma_trust,
              const std::optional<ExpectedCentre>& expected) {
  Fit out;
  const double step = std::clamp(1.0 / near.mean_radius_px(), 0.008, 0.02);
  const int half = std::max(2, static_cast<int>(std::lround(half_width / step)));
  const double reach = window + (2.5 * half + 2) * step;
  const double from = -step * std::ceil(reach / step);
  const Unwrapped polar = unwrap(small, near, sectors, 2, from, reach, step);
  const Steps steps = steps_of(polar, half, linear);
  const int mid = static_cast<int>(std::lround(-from / step));
  std::vector<int> column(sectors, mid);
  const RingStep ring = ring_step(steps, column);
  if (ring.sectors < sectors / 3) return out;
  RingStep weighed = ring;
  for (std::size_t k = 1; k < 3; ++k) weighed.scatter[k] /= std::max(chroma_trust, 1e-3);
  const std::vector<Edge> edges = edges_of(steps, polar, weighed, window);
  if (edges.size() < sectors / 4) return out;
  const Shape shape =
      expected
          ? fit_shape(edges, window, (expected->centre - near.centre_px) / near.mean_radius_px(),
                      expected->sd)
          : fit_shape(edges, window, Eigen::Vector2d::Zero(), 1e3);
  out.ellipse = moved(near, shape);
  out.ellipse.arc_share = shape.support / sectors;
  out.visible_share = static_cast<double>(ring.sectors) / sectors;
  out.contrast = ring.contrast();
  out.luma_step = ring.middle[0];
  out.plain_step = middle_of_plain(steps, mid);
  out.edge_noise = shape.scatter;
  out.colour_inside = colour_of(polar, mid - 2 * half, half);
  out.colour_outside = colour_of(polar, mid + half + 1, half);
  out.good = out.ellipse.semi_major_px > 1 && out.ellipse.semi_major_px < 10000;
  return out;
}

double middle_of_ring(const SmallPicture& small, const LimbusEllipse& ellipse, double window,
                      double half_width) {
  constexpr double least_step = 0.02;  // relative brightness; less is no limbus to lean on
  const double step = std::clamp(1.0 / ellipse.mean_radius_px(), 0.008, 0.02);
  const int half = std::max(2, static_cast<int>(std::lround(half_width / step)));
  const int reach = static_cast<int>(std::ceil(window / step));
  const double from = -step * (reach + half + std::ceil(2.5 * half));
  const Unwrapped polar = unwrap(small, ellipse, sectors, 2, from, -from, step);
  const Steps steps = steps_of(polar, half, true);
  const int mid = static_cast<int>(std::lround(-from / step));
  std::vector<double> curve;
  for (int i = mid - reach - half; i <= mid + reach + half; ++i) {
    std::vector<double> values;
    for (int s = 0; s < sectors; ++s) {
      const std::size_t at = static_cast<std::size_t>(s) * steps.columns + i;
      if (steps.valid[at]) values.push_back(steps.step[at][0]);
    }
    curve.push_back(median_of(values));
  }
  const auto first = curve.begin() + half, last = curve.end() - half;
  const auto top = std::max_element(first, last);
  if (*top < least_step || top == first || top + 1 == last) return 0.0;
  double mass = 0, moment = 0;
  const auto add = [&](std::vector<double>::iterator at) {
    const double over = *at - 0.5 * *top;
    if (over <= 0) return false;
    mass += over;
    moment += over * static_cast<double>(at - curve.begin());
    return true;
  };
  for (auto at = top; at != curve.end() && add(at); ++at) {
  }
  for (auto at = top; at != curve.begin() && add(at - 1); --at) {
  }
  return (moment / mass - (reach + half)) * step;
}

}  // namespace rhumb::eye::limbus_fit
