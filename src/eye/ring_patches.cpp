#include "eye/ring_patches.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "eye/ring_match.h"

namespace rhumb::eye {
namespace {

constexpr double working_radius = 300.0;  // pixels: a cell of the ring is 1.3 of them
constexpr double reflex = 246.0;          // grey levels: saturated, or nearly

}  // namespace

RingView ring_view(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr,
                   const LimbusEllipse& limbus, const cv::Mat& usable) {
  RingView view;
  view.centre_px = limbus.centre_px;
  view.radius_px = limbus.mean_radius_px();
  const int reach = static_cast<int>(1.85 * view.radius_px) + 8;
  cv::Rect area(static_cast<int>(limbus.centre_px.x()) - reach,
                static_cast<int>(limbus.centre_px.y()) - reach, 2 * reach, 2 * reach);
  area &= cv::Rect(0, 0, luma.cols, luma.rows);
  area.x &= ~1;
  area.y &= ~1;
  area.width &= ~1;
  area.height &= ~1;
  if (area.empty() || !(view.radius_px > 20)) return view;
  view.reduced = std::max(1.0, view.radius_px / working_radius);
  const cv::Size size(static_cast<int>(std::lround(area.width / view.reduced)),
                      static_cast<int>(std::lround(area.height / view.reduced)));
  const double fx = static_cast<double>(size.width) / area.width;
  const double fy = static_cast<double>(size.height) / area.height;
  const auto scaled = [&](const cv::Mat& plane, const cv::Rect& part) {
    cv::Mat out, wide;
    cv::resize(plane(part), out, size, 0, 0,
               part.width >= size.width ? cv::INTER_AREA : cv::INTER_LINEAR);
    out.convertTo(wide, CV_32F);
    return wide;
  };
  cv::Mat grey = scaled(luma, area);
  view.usable = grey < reflex;
  if (!cb.empty()) {
    // Green holds the vessels best: blood absorbs it, lens and reflex of the fundus do not matter
    // here. BT.601.
    const cv::Rect half(area.x / 2, area.y / 2, area.width / 2, area.height / 2);
    grey -= 0.344 * (scaled(cb, half) - 128.0) + 0.714 * (scaled(cr, half) - 128.0);
  }
  if (!usable.empty()) {
    cv::Mat mask;
    cv::resize(usable(area), mask, size, 0, 0, cv::INTER_NEAREST);
    view.usable &= mask > 0;
  }
  cv::erode(view.usable, view.usable, cv::Mat(), cv::Point(-1, -1), 3);
  view.grey = cv::max(grey, 0.0);
  view.centre = {(limbus.centre_px.x() + 0.5 - area.x) * fx - 0.5,
                 (limbus.centre_px.y() + 0.5 - area.y) * fy - 0.5};
  view.radius = view.radius_px * std::sqrt(fx * fy);
  return view;
}

namespace ring_patches {

double depth_at(double radius) {
  constexpr double globe = 11.8 / 5.85;
  if (radius <= 1) return 0.0;
  return std::sqrt(std::max(0.0, globe * globe - radius * radius)) - std::sqrt(globe * globe - 1);
}

Unrolled unroll(const RingView& view, const Map& map, int margin) {
  Unrolled out;
  out.margin = margin;
  const int wide = columns + 2 * margin, high = rows + 2 * margin;
  cv::Mat mx(high, wide, CV_32F), my(high, wide, CV_32F);
  for (int j = 0; j < high; ++j) {
    const double r = inner + cell * (j - margin + 0.5);
    const double z = depth_at(r);
    auto* px = mx.ptr<float>(j);
    auto* py = my.ptr<float>(j);
    for (int i = 0; i < wide; ++i) {
      const double theta = cell * (i - margin);
      const Eigen::Vector2d p(r * std::cos(theta), r * std::sin(theta));
      const Eigen::Vector2d q = map.offset + map.linear * (p + z * map.parallax);
      px[i] = static_cast<float>(view.centre.x() + view.radius * q.x());
      py[i] = static_cast<float>(view.centre.y() - view.radius * q.y());
    }
  }
  cv::Mat grey, seen;
  cv::remap(view.grey, grey, mx, my, cv::INTER_LINEAR, cv::BORDER_CONSTANT, 0);
  cv::remap(view.usable, seen, mx, my, cv::INTER_NEAREST, cv::BORDER_CONSTANT, 0);
  seen = seen > 0;
  cv::Mat mask;
  seen.convertTo(mask, CV_32F, 1.0 / 255);
  // Contrast against the surroundings, over usable points only.
  const cv::Size box(
      37, 37);  // 9 degrees, 0.16 limbal radii: wider than vessels, narrower than shading
  cv::Mat sum, share, contrast;
  cv::boxFilter(grey.mul(mask), sum, CV_32F, box);
  cv::boxFilter(mask, share, CV_32F, box);
  cv::GaussianBlur(grey, grey, cv::Size(), 1.2);
  const cv::Mat mean = sum / cv::max(share, 0.05);
  contrast = (grey - mean) / (mean + 10.0);
  contrast = cv::min(cv::max(contrast, -0.35), 0.35).mul(mask);
  // Strength of texture evened out, so that the limbus's own edge and strong vessels do not rule.
  cv::Mat power;
  cv::boxFilter(contrast.mul(contrast), power, CV_32F, cv::Size(61, 61));
  cv::sqrt(power, power);
  out.contrast = contrast / (power + 0.01);
  out.contrast = cv::min(cv::max(out.contrast, -3.0), 3.0);
  out.usable = seen;
  return out;
}

namespace {

constexpr int patch_columns = columns / sectors;
constexpr int patch_rows = rows / bands;

// Peak of a correlation surface to a fraction of a cell, with the curvature there.
struct Peak {
  double x = 0, y = 0, value = 0;
  Eigen::Matrix2d curvature = Eigen::Matrix2d::Zero();
  bool inside = false;
};

Peak peak_of(const cv::Mat& surface) {
  Peak out;
  cv::Point at;
  cv::minMaxLoc(surface, nullptr, &out.value, nullptr, &at);
  out.x = at.x;
  out.y = at.y;
  if (at.x < 1 || at.y < 1 || at.x + 1 >= surface.cols || at.y + 1 >= surface.rows) return out;
  const auto v = [&](int dx, int dy) {
    return static_cast<double>(surface.at<float>(at.y + dy, at.x + dx));
  };
  const Eigen::Vector2d slope(0.5 * (v(1, 0) - v(-1, 0)), 0.5 * (v(0, 1) - v(0, -1)));
  Eigen::Matrix2d h;
  h(0, 0) = v(1, 0) - 2 * v(0, 0) + v(-1, 0);
  h(1, 1) = v(0, 1) - 2 * v(0, 0) + v(0, -1);
  h(0, 1) = h(1, 0) = 0.25 * (v(1, 1) - v(-1, 1) - v(1, -1) + v(-1, -1));
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(-h);
  if (eigen.eigenvalues()(0) < 1e-5) return out;
  Eigen::Vector2d step = (-h).inverse() * slope;
  const double length = step.cwiseAbs().maxCoeff();
  if (length > 0.8) step *= 0.8 / length;  // along a vessel the peak is a ridge
  out.x += step.x();
  out.y += step.y();
  out.curvature = -h;
  out.inside = true;
  return out;
}

}  // namespace

std::vector<Patch> find_patches(const Unrolled& first, const Unrolled& second, int reach) {
  std::vector<Patch> out;
  out.reserve(static_cast<std::size_t>(sectors) * bands);
  const int need = patch_columns * patch_rows * 3 / 5;
  for (int s = 0; s < sectors; ++s) {
    for (int b = 0; b < bands; ++b) {
      Patch patch;
      patch.sector = s;
      const int x = s * patch_columns, y = b * patch_rows;
      const double theta = cell * (x + 0.5 * (patch_columns - 1));
      const double r = inner + cell * (y + 0.5 * patch_rows);
      patch.place = {r * std::cos(theta), r * std::sin(theta)};
      patch.depth = depth_at(r);
      patch.window_area = std::pow((2 * reach + 1) * cell, 2) * r;
      const cv::Rect here(x + first.margin, y + first.margin, patch_columns, patch_rows);
      const cv::Rect there(x + second.margin, y + second.margin, patch_columns, patch_rows);
      if (cv::countNonZero(first.usable(here)) >= need &&
          cv::countNonZero(second.usable(there)) >= need) {
        const cv::Rect around(there.x - reach, there.y - reach, patch_columns + 2 * reach,
                              patch_rows + 2 * reach);
        cv::Mat surface;
        cv::matchTemplate(second.contrast(around), first.contrast(here), surface,
                          cv::TM_CCOEFF_NORMED);
        const Peak peak = peak_of(surface);
        patch.likeness = peak.value;
        if (peak.inside && peak.value > 0.15) {
          patch.textured = true;
          const double along = (peak.x - reach) * cell * r, outwards = (peak.y - reach) * cell;
          const Eigen::Vector2d er(std::cos(theta), std::sin(theta)), et(-er.y(), er.x());
          patch.shift = along * et + outwards * er;
          // Independent points in a patch: the blur correlates neighbours over some three cells
          // each way.
          const double points = patch_columns * patch_rows / 16.0;
          const double noise = (1 - peak.value * peak.value) / (points * peak.value);
          Eigen::Matrix2d info = peak.curvature / noise;
          info += Eigen::Matrix2d::Identity() / (reach * reach);  // the window is finite
          const Eigen::Matrix2d cells = info.inverse();
          Eigen::Matrix2d axes;
          axes.col(0) = et * (cell * r);
          axes.col(1) = er * cell;
          patch.covariance = axes * cells * axes.transpose();
        }
      }
      out.push_back(patch);
    }
  }
  return out;
}

std::vector<double> coarse_turns(const Unrolled& first, const Unrolled& second, double limit_rad,
                                 int most) {
  constexpr int by = 4;
  constexpr int n = columns / by, m = rows / by;
  constexpr int block_x = 15, block_y = 12;
  constexpr int slack = 2;  // rows of misplaced limbus let pass, each way
  const auto reduced = [&](const Unrolled& u) {
    cv::Mat small;
    cv::resize(u.contrast(cv::Rect(u.margin, u.margin, columns, rows)), small, cv::Size(n, m), 0, 0,
               cv::INTER_AREA);
    return small;
  };
  const cv::Mat a = reduced(first), once = reduced(second);
  cv::Mat b;
  cv::hconcat(once, once, b);
  const auto blocks = static_cast<std::size_t>(n / block_x) * (m / block_y);
  std::vector<double> power_a(blocks, 0.0);
  for (int y = 0; y < m; ++y)
    for (int x = 0; x < n; ++x) {
      const double v = a.at<float>(y, x);
      power_a[static_cast<std::size_t>(y / block_y) * (n / block_x) + x / block_x] += v * v;
    }
  std::vector<double> score(n, 0.0);
  std::vector<double> best(blocks);
  std::vector<float> cross(blocks), power_b(blocks);
  for (int turn = 0; turn < n; ++turn) {
    const double rad = std::remainder(2 * std::numbers::pi * turn / n, 2 * std::numbers::pi);
    if (std::abs(rad) > limit_rad) continue;
    std::fill(best.begin(), best.end(), 0.0);
    for (int up = -slack; up <= slack; ++up) {
      std::fill(cross.begin(), cross.end(), 0.0F);
      std::fill(power_b.begin(), power_b.end(), 0.0F);
      for (int y = std::max(0, -up); y < std::min(m, m - up); ++y) {
        const float* pa = a.ptr<float>(y);
        const float* pb = b.ptr<float>(y + up) + turn;
        for (int bx = 0; bx < n / block_x; ++bx) {
          float c = 0, p = 0;
          for (int x = bx * block_x; x < (bx + 1) * block_x; ++x) {
            c += pa[x] * pb[x];
            p += pb[x] * pb[x];
          }
          const std::size_t at = static_cast<std::size_t>(y / block_y) * (n / block_x) + bx;
          cross[at] += c;
          power_b[at] += p;
        }
      }
      for (std::size_t k = 0; k < blocks; ++k) {
        const double norm = std::sqrt(power_a[k] * power_b[k]) + 5.0;
        best[k] = std::max(best[k], cross[k] / norm);
      }
    }
    double sum = 0;
    for (const double v : best) sum += v * v;
    score[static_cast<std::size_t>(turn)] = sum;
  }
  std::vector<double> out;
  for (int k = 0; k < most; ++k) {
    const auto top = std::max_element(score.begin(), score.end());
    if (*top <= 0) break;
    const int at = static_cast<int>(top - score.begin());
    // A point at i of the first lies at i + turn of the second: the second's eye is turned by that
    // much.
    out.push_back(std::remainder(2 * std::numbers::pi * at / n, 2 * std::numbers::pi));
    for (int d = -3; d <= 3; ++d) score[static_cast<std::size_t>((at + d + n) % n)] = 0;
  }
  return out;
}

}  // namespace ring_patches
}  // namespace rhumb::eye
