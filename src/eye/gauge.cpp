#include "eye/gauge.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <vector>

#include "eye/median.h"

namespace rhumb::eye {

namespace {

// Mean tilt over a recording: the surgeon brings the eye upright under the microscope; 3 degrees.
// Common practice, no source.
constexpr double prior_tilt_sd = 0.052;
// The estimate is off by half of itself, standard deviation, whatever its residuals say: on
// rendered eyes 22 degrees were found where 10 were drawn, and 2.5 where 10 were. What the ring's
// depths are taken for scales it.
constexpr double scale_error = 0.5;

}  // namespace

TiltEstimate settle_gauge(std::span<AtlasSample> samples, const Eigen::Matrix2d& upright,
                          bool with_tilt) {
  std::vector<double> turn, shear_x, shear_y, qx, qy;
  for (const AtlasSample& s : samples) {
    if (!s.used) continue;
    const PoseParts parts = parts_of(upright, s.alignment.pose.linear);
    turn.push_back(parts.rotation_rad);
    shear_x.push_back(parts.shear.x());
    shear_y.push_back(parts.shear.y());
    qx.push_back(s.alignment.pose.parallax.x());
    qy.push_back(s.alignment.pose.parallax.y());
  }
  TiltEstimate tilt;
  const double n = static_cast<double>(turn.size());
  if (turn.empty()) return tilt;
  PoseParts mean;
  mean.rotation_rad = median_of(turn);
  mean.shear = {median_of(shear_x), median_of(shear_y)};
  const Eigen::Vector2d middle(median_of(qx), median_of(qy));
  if (with_tilt) {
    // shear + half of the quadratic in parallax = constant - half of the cross terms with the tilt
    // u.
    Eigen::Vector4d x(mean.shear.x(), mean.shear.y(), 0.0, 0.0);
    Eigen::Matrix4d inverse = Eigen::Matrix4d::Identity();
    double scale = 0.005;
    for (int pass = 0; pass < 10; ++pass) {
      Eigen::Matrix4d h = Eigen::Matrix4d::Zero();
      Eigen::Vector4d g = Eigen::Vector4d::Zero();
      h(2, 2) = h(3, 3) = scale * scale / (prior_tilt_sd * prior_tilt_sd);
      std::vector<double> sizes;
      for (std::size_t i = 0; i < turn.size(); ++i) {
        const Eigen::Vector2d q(qx[i] - middle.x(), qy[i] - middle.y());
        Eigen::Matrix<double, 2, 4> a;
        a << 1.0, 0.0, -0.5 * q.x(), 0.5 * q.y(), 0.0, 1.0, -0.5 * q.y(), -0.5 * q.x();
        const Eigen::Vector2d y(shear_x[i] + 0.25 * (q.x() * q.x() - q.y() * q.y()),
                                shear_y[i] + 0.5 * q.x() * q.y());
        const Eigen::Vector2d e = y - a * x;
        const double w = 1.0 / (1.0 + e.squaredNorm() / (6.0 * scale * scale));
        h += w * w * a.transpose() * a;
        g += w * w * a.transpose() * y;
        sizes.push_back(e.norm());
      }
      x = h.inverse() * g;
      scale = std::max(1e-4, median_of(sizes) / 1.1774);  // median of a Rayleigh variable
      inverse = h.inverse() * scale * scale;
    }
    mean.shear = x.head<2>();
    tilt.measured = x.tail<2>();
    const double off = scale_error * tilt.measured.norm();
    const double share =
        prior_tilt_sd * prior_tilt_sd / (prior_tilt_sd * prior_tilt_sd + off * off);
    tilt.parallax = share * tilt.measured;
    tilt.se_rad = std::hypot(std::sqrt(0.5 * (inverse(2, 2) + inverse(3, 3))),
                             std::sqrt(share) * off, 0.5 * (1.0 - share) * tilt.measured.norm());
  }
  for (std::size_t i = 0; i < turn.size(); ++i) {
    tilt.spread += (Eigen::Vector2d(qx[i], qy[i]) - middle).squaredNorm() / (2.0 * n);
  }
  tilt.spread = std::sqrt(tilt.spread);
  mean.shear -= foreshortening(tilt.parallax);
  const Eigen::Matrix2d to_new = linear_of(Eigen::Matrix2d::Identity(), mean);
  const Eigen::Matrix2d to_old = to_new.inverse();
  for (AtlasSample& s : samples) {
    RingPose& pose = s.alignment.pose;
    pose.linear = pose.linear * to_old;
    pose.parallax = to_new * (pose.parallax - middle) + tilt.parallax;
  }
  return tilt;
}

void centre_on(std::span<AtlasSample> samples, const LimbusInAtlas& limbus) {
  const double radius = 0.5 * (limbus.semi_major + limbus.semi_minor);
  for (AtlasSample& s : samples) {
    RingPose& pose = s.alignment.pose;
    pose.offset_px += pose.linear * limbus.centre;
    pose.linear *= radius;
  }
}

}  // namespace rhumb::eye
