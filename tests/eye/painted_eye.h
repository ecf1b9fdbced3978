// A painted eye for tests: random texture on a flat iris and a spherical sclera, seen in parallel
// projection under a known pose. Shares no code with what it tests.
#pragma once

#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "eye/ring.h"
#include "video/frame.h"

namespace rhumb::test {

struct View {
  double x_px = 320.0, y_px = 240.0;
  double radius_px = 130.0;
  double rotation_deg = 0.0;
  double tilt_x = 0.0,
         tilt_y = 0.0;  // the direction of sight in the eye's frame: tangents of the tilt
  double light = 1.0;
};

class PaintedEye {
 public:
  explicit PaintedEye(unsigned seed) {
    cv::RNG rng(seed);
    cv::Mat fine(size, size, CV_32FC1), coarse(size, size, CV_32FC1);
    rng.fill(fine, cv::RNG::NORMAL, 0.0, 1.0);
    rng.fill(coarse, cv::RNG::NORMAL, 0.0, 1.0);
    cv::GaussianBlur(fine, fine, {}, 3.0);
    cv::GaussianBlur(coarse, coarse, {}, 9.0);
    texture_ = fine * (7.0 * 3.5 * 3.0) + coarse * (7.0 * 3.5 * 9.0);
  }

  // Height over the limbal plane at a distance from its centre; limbal radii, globe 11.8 / 5.85 of
  // them.
  static double height(double r) {
    const double globe = 11.8 / 5.85;
    return r <= 1.0 ? 0.0 : std::sqrt(globe * globe - r * r) - std::sqrt(globe * globe - 1.0);
  }

  // Picture axes: superior at the top, not mirrored.
  static Eigen::Matrix2d linear(const View& v) {
    const double t = v.rotation_deg * M_PI / 180.0;
    Eigen::Matrix2d turn, flip, squeeze = Eigen::Matrix2d::Identity();
    turn << std::cos(t), -std::sin(t), std::sin(t), std::cos(t);
    flip << 1.0, 0.0, 0.0, -1.0;
    const double tan2 = v.tilt_x * v.tilt_x + v.tilt_y * v.tilt_y;
    if (tan2 > 0.0) {
      const Eigen::Vector2d d = Eigen::Vector2d(v.tilt_x, v.tilt_y) / std::sqrt(tan2);
      squeeze -= (1.0 - 1.0 / std::sqrt(1.0 + tan2)) * d * d.transpose();
    }
    return flip * turn * squeeze * v.radius_px;
  }

  video::Frame frame(const View& v, cv::Size picture, double noise, unsigned seed) const {
    const Eigen::Matrix2d a = linear(v);
    const Eigen::Matrix2d back = a.inverse();
    const Eigen::Vector2d q(v.tilt_x, v.tilt_y);
    cv::Mat luma(picture, CV_32FC1);
    for (int y = 0; y < picture.height; ++y) {
      for (int x = 0; x < picture.width; ++x) {
        const Eigen::Vector2d seen = back * Eigen::Vector2d(x - v.x_px, y - v.y_px);
        Eigen::Vector2d p = seen;
        if (seen.norm() < 1.95) {
          for (int i = 0; i < 8; ++i) p = seen - q * height(std::min(p.norm(), 1.9));
        }
        luma.at<float>(y, x) = static_cast<float>(v.light * grey(p));
      }
    }
    cv::Mat grain(picture, CV_32FC1);
    cv::RNG(seed).fill(grain, cv::RNG::NORMAL, 0.0, noise);
    luma += grain;
    video::Frame frame;
    frame.index = seed;
    luma.convertTo(frame.luma, CV_8UC1);
    frame.cb = cv::Mat(picture.height / 2, picture.width / 2, CV_8UC1, cv::Scalar(128));
    frame.cr = frame.cb.clone();
    return frame;
  }

 private:
  static constexpr int size = 1024;
  static constexpr double half = 2.0;  // limbal radii that the texture reaches

  double grey(const Eigen::Vector2d& p) const {
    const double r = p.norm();
    if (r < 0.5) return 110.0;
    const double u = (p.x() + half) / (2.0 * half) * (size - 1);
    const double w = (p.y() + half) / (2.0 * half) * (size - 1);
    double value = 0.0;
    if (u >= 0.0 && w >= 0.0 && u < size - 1 && w < size - 1) {
      const int i = static_cast<int>(u), j = static_cast<int>(w);
      const double fu = u - i, fw = w - j;
      const auto t = [&](int jj, int ii) {
        return static_cast<double>(texture_.at<float>(jj, ii));
      };
      value = (1.0 - fw) * ((1.0 - fu) * t(j, i) + fu * t(j, i + 1)) +
              fw * ((1.0 - fu) * t(j + 1, i) + fu * t(j + 1, i + 1));
    }
    return 120.0 + 40.0 * std::erf((r - 1.0) / 0.05) + value;
  }

  cv::Mat texture_;
};

inline double deg(double rad) { return rad * 180.0 / M_PI; }

}  // namespace rhumb::test
