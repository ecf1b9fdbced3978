#include "followup/joint.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "angle/angle.h"

namespace rhumb::followup {
namespace {

struct Measured {
  int first = 0, second = 0;
  double turn = 0, turn_se = 1;
  Eigen::Vector2d shear = Eigen::Vector2d::Zero();  // in the first picture's frame
  double shear_se = 1;
};

Measured measured(const Pair& pair, double floor) {
  Measured out{pair.first,
               pair.second,
               pair.match.rotation_rad,
               std::hypot(pair.match.rotation_se_rad, floor),
               Eigen::Vector2d::Zero(),
               std::hypot(pair.match.shear_se, floor)};
  const double c = std::cos(out.turn), s = std::sin(out.turn);
  Eigen::Matrix2d back;
  back << c, s, -s, c;
  Eigen::Matrix2d e = back * pair.match.linear;
  e /= std::sqrt(std::abs(e.determinant()));
  out.shear = {0.5 * (e(0, 0) - e(1, 1)), 0.5 * (e(0, 1) + e(1, 0))};
  return out;
}

// Spin of a shear: the same map in axes turned by -rad.
Eigen::Vector2d turned(const Eigen::Vector2d& shear, double rad) {
  const double c = std::cos(2 * rad), s = std::sin(2 * rad);
  return {c * shear.x() + s * shear.y(), -s * shear.x() + c * shear.y()};
}

// The largest set of photographs that hang together; of equal ones the one with the earliest.
std::vector<char> largest_component(int n, const std::vector<Pair>& pairs) {
  std::vector<int> root(static_cast<std::size_t>(n));
  std::iota(root.begin(), root.end(), 0);
  const auto find = [&](int i) {
    while (root[static_cast<std::size_t>(i)] != i) i = root[static_cast<std::size_t>(i)];
    return i;
  };
  for (const Pair& pair : pairs)
    if (pair.match.accepted && !pair.outlier) {
      const int a = find(pair.first), b = find(pair.second);
      root[static_cast<std::size_t>(std::max(a, b))] = std::min(a, b);
    }
  std::vector<int> size(static_cast<std::size_t>(n), 0);
  for (int i = 0; i < n; ++i) ++size[static_cast<std::size_t>(find(i))];
  const int best = static_cast<int>(std::max_element(size.begin(), size.end()) - size.begin());
  std::vector<char> out(static_cast<std::size_t>(n), 0);
  for (int i = 0; i < n; ++i) out[static_cast<std::size_t>(i)] = find(i) == best;
  return out;
}

// Rotations along the pairs, best first, as a start.
void spread(JointSolution& joint, const std::vector<Pair>& pairs) {
  std::vector<const Pair*> order;
  for (const Pair& pair : pairs)
    if (pair.match.accepted && !pair.outlier) order.push_back(&pair);
  std::stable_sort(order.begin(), order.end(), [](const Pair* a, const Pair* b) {
    return a->match.evidence > b->match.evidence;
  });
  std::vector<char> known(joint.connected.size(), 0);
  known[static_cast<std::size_t>(joint.base)] = 1;
  for (bool more = true; more;) {
    more = false;
    for (const Pair* pair : order) {
      const auto a = static_cast<std::size_t>(pair->first),
                 b = static_cast<std::size_t>(pair->second);
      if (known[a] == known[b]) continue;
      if (known[a]) {
        joint.rotation_rad[b] = joint.rotation_rad[a] + pair->match.rotation_rad;
      } else {
        joint.rotation_rad[a] = joint.rotation_rad[b] - pair->match.rotation_rad;
      }
      known[a] = known[b] = 1;
      more = true;
      break;
    }
  }
}

}  // namespace

double JointSolution::eye_direction(int v, double picture_rad) const {
  const auto k = static_cast<std::size_t>(v);
  const double turned_back = picture_rad - rotation_rad[k];
  const Eigen::Vector2d d(std::cos(turned_back), std::sin(turned_back));
  const Eigen::Vector2d& s = shear[k];
  Eigen::Matrix2d map;
  map << 1 + s.x(), s.y(), s.y(), 1 - s.x();
  const Eigen::Vector2d e = map.inverse() * d;
  return std::atan2(e.y(), e.x());
}

Eigen::Vector3d JointSolution::jacobian(int v, double picture_rad) const {
  const double phi = eye_direction(v, picture_rad);
  return {-1.0, std::sin(2 * phi), -std::cos(2 * phi)};
}

JointSolution solve_jointly(int photographs, std::vector<Pair>& pairs,
                            const JointOptions& options) {
  JointSolution joint;
  const auto n = static_cast<std::size_t>(photographs);
  joint.rotation_rad.assign(n, 0.0);
  joint.shear.assign(n, Eigen::Vector2d::Zero());
  joint.covariance = Eigen::MatrixXd::Zero(3 * photographs, 3 * photographs);
  for (Pair& pair : pairs) pair.outlier = false;
  for (int attempt = 0; attempt < 2; ++attempt) {
    joint.connected = largest_component(photographs, pairs);
    const auto first = std::find(joint.connected.begin(), joint.connected.end(), 1);
    joint.base = static_cast<int>(first - joint.connected.begin());
    if (photographs == 0) return joint;
    spread(joint, pairs);
    for (int round = 0; round < 20; ++round) {
      Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(3 * photographs, 3 * photographs);
      Eigen::VectorXd right = Eigen::VectorXd::Zero(3 * photographs);
      for (int v = 0; v < photographs; ++v) {
        const double tight = v == joint.base || !joint.connected[static_cast<std::size_t>(v)];
        normal(3 * v, 3 * v) += tight != 0 ? 1e14 : 1e-9;
        for (int k = 1; k < 3; ++k) {
          const double w = 1 / (options.shear_sd * options.shear_sd);
          normal(3 * v + k, 3 * v + k) += w;
          right(3 * v + k) -= w * joint.shear[static_cast<std::size_t>(v)](k - 1);
        }
      }
      for (Pair& pair : pairs) {
        if (!pair.match.accepted || pair.outlier ||
            !joint.connected[static_cast<std::size_t>(pair.first)])
          continue;
        const Measured m = measured(pair, options.floor_rad);
        const auto a = static_cast<std::size_t>(m.first), b = static_cast<std::size_t>(m.second);
        const double r =
            angle::wrap_rotation(m.turn - (joint.rotation_rad[b] - joint.rotation_rad[a]));
        pair.residual_rad = r;
        const double z = std::abs(r) / m.turn_se;
        const double w = (z < 2 ? 1.0 : 2.0 / z) / (m.turn_se * m.turn_se);
        const int i = 3 * m.first, j = 3 * m.second;
        normal(i, i) += w;
        normal(j, j) += w;
        normal(i, j) -= w;
        normal(j, i) -= w;
        right(i) -= w * r;
        right(j) += w * r;
        const Eigen::Vector2d difference = turned(m.shear, joint.rotation_rad[a]);
        const Eigen::Vector2d rs = difference - (joint.shear[b] - joint.shear[a]);
        const double ws = 1 / (m.shear_se * m.shear_se);
        for (int k = 1; k < 3; ++k) {
          normal(i + k, i + k) += ws;
          normal(j + k, j + k) += ws;
          normal(i + k, j + k) -= ws;
          normal(j + k, i + k) -= ws;
          right(i + k) -= ws * rs(k - 1);
          right(j + k) += ws * rs(k - 1);
        }
      }
      const Eigen::LDLT<Eigen::MatrixXd> solver(normal);
      const Eigen::VectorXd step = solver.solve(right);
      for (int v = 0; v < photographs; ++v) {
        joint.rotation_rad[static_cast<std::size_t>(v)] += step(3 * v);
        joint.shear[static_cast<std::size_t>(v)] += step.segment<2>(3 * v + 1);
      }
      joint.covariance = solver.solve(Eigen::MatrixXd::Identity(3 * photographs, 3 * photographs));
      if (step.cwiseAbs().maxCoeff() < 1e-8) break;
    }
    bool found = false;
    for (Pair& pair : pairs) {
      if (!pair.match.accepted || pair.outlier) continue;
      const double se = std::hypot(pair.match.rotation_se_rad, options.floor_rad);
      if (std::abs(pair.residual_rad) > 4 * se) pair.outlier = found = true;
    }
    if (!found) break;
  }
  return joint;
}

}  // namespace rhumb::followup
