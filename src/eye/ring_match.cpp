#include "eye/ring_match.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "eye/ring_patches.h"

namespace rhumb::eye {
namespace {

using ring_patches::Map;
using ring_patches::Patch;
using ring_patches::Unrolled;

constexpr double pi = std::numbers::pi;
using Vector8 = Eigen::Matrix<double, 8, 1>;
using Matrix8 = Eigen::Matrix<double, 8, 8>;

// Displacement of a patch by the eight parameters: shift, growth, turn, two shears, parallax.
Eigen::Matrix<double, 2, 8> basis_of(const Eigen::Vector2d& p, double depth) {
  Eigen::Matrix<double, 2, 8> b;
  b << 1, 0, p.x(), -p.y(), p.x(), p.y(), depth, 0,  //
      0, 1, p.y(), p.x(), -p.y(), p.x(), 0, depth;
  return b;
}

// What is known of the map before looking: limbus centres and radii are good to some per cent, eyes
// are tilted by some degrees. Standard deviations in limbal radii.
Vector8 prior_sd() {
  Vector8 sd;
  sd << 0.08, 0.08, 0.05, 1.0, 0.015, 0.015, 0.12, 0.12;
  return sd;
}

struct Fit {
  Vector8 value = Vector8::Zero();
  Matrix8 covariance = Matrix8::Identity();
  double scale = 1.0;  // robust scatter of the residuals over what the patches promise
};

// `taken`: what earlier rounds have already put into the map, so that the prior holds for the
// whole.
Fit fit_patches(const std::vector<Patch>& patches, const Vector8& taken, double model_sd) {
  Fit out;
  const Vector8 sd = prior_sd();
  for (int round = 0; round < 15; ++round) {
    Matrix8 normal = Matrix8::Zero();
    Vector8 right = Vector8::Zero();
    for (int k = 0; k < 8; ++k) {
      if (k == 3) continue;  // any rotation is as likely
      normal(k, k) += 1 / (sd(k) * sd(k));
      right(k) -= taken(k) / (sd(k) * sd(k));
    }
    normal(3, 3) += 1e-6;
    double weights = 0, squares = 0;
    for (const Patch& patch : patches) {
      if (!patch.textured) continue;
      const auto basis = basis_of(patch.place, patch.depth);
      const Eigen::Matrix2d cov =
          patch.covariance + Eigen::Matrix2d::Identity() * model_sd * model_sd;
      const Eigen::Matrix2d info = cov.inverse();
      const Eigen::Vector2d r = patch.shift - basis * out.value;
      // Cauchy at first, so that a start from afar finds its way; then a redescending weight.
      const double d2 = r.dot(info * r) / (out.scale * out.scale);
      const double w = round < 6 ? 1 / (1 + d2) : (d2 < 9 ? (1 - d2 / 9) * (1 - d2 / 9) : 0.0);
      normal += w * basis.transpose() * info * basis;
      right += w * basis.transpose() * info * patch.shift;
      weights += w;
      squares += w * d2 * out.scale * out.scale;
    }
    const Eigen::LDLT<Matrix8> solver(normal);
    out.value = solver.solve(right);
    out.covariance = solver.solve(Matrix8::Identity());
    // The weight cuts the tails: what is left of a normal's variance, two dimensions, is about 0.8.
    if (round >= 6 && weights > 6)
      out.scale = std::clamp(std::sqrt(squares / (0.8 * 2 * weights)), 0.5, 3.0);
  }
  out.covariance *= std::max(1.0, out.scale * out.scale);
  return out;
}

void apply(const Fit& fit, Map& map, Vector8& taken) {
  const Vector8& v = fit.value;
  Eigen::Matrix2d step;
  step << 1 + v(2) + v(4), -v(3) + v(5), v(3) + v(5), 1 + v(2) - v(4);
  map.offset += map.linear * v.head<2>();
  map.linear = map.linear * step;
  map.parallax += v.tail<2>();
  taken += v;
}

struct Refined {
  Map map;
  Fit fit;
  std::vector<Patch> verified;
  double evidence = -1e9;
  double share = 0;
  int sectors = 0;
};

// Odds by patch: one that shows the same eye turns up where it should more often than not; another
// lands there by chance, in proportion to the area.
void judge(Refined& out, double model_sd) {
  double evidence = 0;
  int textured = 0, agreeing = 0;
  std::vector<double> sector(ring_patches::sectors, 0.0);
  for (const Patch& patch : out.verified) {
    if (!patch.textured) continue;
    ++textured;
    const Eigen::Matrix2d cov =
        patch.covariance + Eigen::Matrix2d::Identity() * model_sd * model_sd;
    const double d2 = patch.shift.dot(cov.inverse() * patch.shift);
    const double chance =
        std::clamp(pi * 9 * std::sqrt(cov.determinant()) / patch.window_area, 0.01, 0.95);
    constexpr double same_eye = 0.5;
    const bool agrees = d2 < 9;
    const double odds = agrees ? std::log(std::max(same_eye, chance) / chance)
                               : std::log((1 - same_eye) / (1 - std::min(same_eye, chance)));
    agreeing += agrees ? 1 : 0;
    evidence += odds;
    sector[static_cast<std::size_t>(patch.sector)] += odds;
  }
  out.share = textured > 0 ? static_cast<double>(agreeing) / textured : 0.0;
  // One patch of four lands where it should by chance: a sector agrees where its patches together
  // are three times as likely with one eye.
  out.sectors = static_cast<int>(std::count_if(sector.begin(), sector.end(),
                                               [](double odds) { return odds > std::log(3.0); }));
  // The best of some hundred rotations was taken, and eight parameters were fitted.
  out.evidence = evidence - std::log(300.0);
}

Refined refine(const Unrolled& first, const RingView& second, double start_rad) {
  Refined out;
  out.map.linear << std::cos(start_rad), -std::sin(start_rad), std::sin(start_rad),
      std::cos(start_rad);
  Vector8 taken = Vector8::Zero();
  const double model_sd[] = {0.012, 0.006, 0.004};
  const int reach[] = {14, 9, 6};
  for (std::size_t k = 0; k < 3; ++k) {
    const Unrolled moved = ring_patches::unroll(second, out.map, reach[k] + 2);
    const auto patches = ring_patches::find_patches(first, moved, reach[k]);
    out.fit = fit_patches(patches, taken, model_sd[k]);
    apply(out.fit, out.map, taken);
  }
  const int wide = 12;
  const Unrolled moved = ring_patches::unroll(second, out.map, wide + 2);
  out.verified = ring_patches::find_patches(first, moved, wide);
  judge(out, 0.005);
  return out;
}

}  // namespace

RingMatch match_rings(const RingView& first, const RingView& second,
                      const RingMatchOptions& options) {
  RingMatch out;
  if (first.grey.empty() || second.grey.empty()) {
    out.reason = "the eye is too small in the picture";
    return out;
  }
  const Unrolled a = ring_patches::unroll(first, {}, 16);
  const Unrolled b = ring_patches::unroll(second, {}, 16);
  Refined best;
  for (const double start : ring_patches::coarse_turns(a, b, options.turn_limit_rad, 3)) {
    Refined now = refine(a, second, start);
    if (now.evidence > best.evidence) best = std::move(now);
    if (best.evidence > 4 * options.least_evidence) break;
  }
  if (best.verified.empty()) {
    out.reason = "the pictures show too little of the ring about the limbus";
    return out;
  }
  const Eigen::Matrix2d& m = best.map.linear;
  out.linear = m;
  out.offset = best.map.offset;
  out.parallax = best.map.parallax;
  out.rotation_rad = std::atan2(m(1, 0) - m(0, 1), m(0, 0) + m(1, 1));
  out.rotation_se_rad = std::sqrt(best.fit.covariance(3, 3));
  out.shear_se = std::sqrt(0.5 * (best.fit.covariance(4, 4) + best.fit.covariance(5, 5)));
  out.share_agreeing = best.share;
  out.sectors_agreeing = best.sectors;
  out.evidence = best.evidence;
  if (best.evidence < options.least_evidence) {
    out.reason =
        "vessels, pigment and iris about the limbus do not agree: another eye, a mirrored picture, "
        "or too "
        "little in common";
  } else if (out.rotation_se_rad > options.largest_se_rad) {
    out.reason = "too little of the ring agrees for a rotation";
  } else {
    out.accepted = true;
  }
  return out;
}

}  // namespace rhumb::eye
