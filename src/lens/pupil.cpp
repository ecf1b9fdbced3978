#include "lens/pupil.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"

namespace rhumb::lens {
namespace {

constexpr int meridians = 48;

struct Ray {
  float x = 0.0F;
  float y = 0.0F;
};

std::array<Ray, meridians> rays() {
  std::array<Ray, meridians> out;
  for (int k = 0; k < meridians; ++k) {
    const double phi = 2.0 * angle::pi * k / meridians;
    out[static_cast<std::size_t>(k)] = {static_cast<float>(std::cos(phi)),
                                        static_cast<float>(-std::sin(phi))};
  }
  return out;
}

// A step that stands out against those before and behind it, for a glow that fades evenly towards
// the rim is no edge; or the plain one, which lies on the middle of an edge whatever is beside it.
enum class Step { StandsOut, Plain };

// Median over the meridians of the step from just inside to just outside; meridians that leave the
// patch don't count, and with under half of them left there is no answer (0).
float edge_step(const cv::Mat1f& smooth, const std::array<Ray, meridians>& ray, float cx, float cy,
                float radius_px, float half_gap_px, Step kind) {
  std::array<float, meridians> steps;
  std::size_t count = 0;
  for (const Ray& r : ray) {
    std::array<float, 4> luma{};  // at -3, -1, 1 and 3 half gaps from the edge
    bool within = true;
    for (std::size_t k = 0; k < luma.size(); ++k) {
      if (kind == Step::Plain && (k == 0 || k == 3)) continue;
      const float at = radius_px + (2.0F * static_cast<float>(k) - 3.0F) * half_gap_px;
      const int x = cvRound(cx + r.x * at);
      const int y = cvRound(cy + r.y * at);
      within = x >= 0 && y >= 0 && x < smooth.cols && y < smooth.rows;
      if (!within) break;
      luma[k] = smooth(y, x);
    }
    if (!within) continue;
    const float step = luma[1] - luma[2];
    steps[count++] =
        kind == Step::Plain ? step : step - 0.5F * (luma[0] - luma[1] + luma[2] - luma[3]);
  }
  if (2 * count < meridians) return 0.0F;
  const auto middle = steps.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(steps.begin(), middle, steps.begin() + static_cast<std::ptrdiff_t>(count));
  return *middle;
}

}  // namespace

std::optional<Pupil> find_pupil(const cv::Mat& patch, const PatchGeometry& geometry) {
  const double ppr = geometry.pixels_per_radius;
  cv::Mat1f smooth;
  patch.convertTo(smooth, CV_32F);
  cv::GaussianBlur(smooth, smooth, cv::Size(), 0.015 * ppr);
  const auto mean = static_cast<float>(std::max(1.0, cv::mean(smooth)[0]));
  const auto ray = rays();
  const auto centre = static_cast<float>(geometry.centre_px());
  const auto half_gap = static_cast<float>(0.025 * ppr);

  float best_step = 0.0F;
  float best_x = 0.0F;
  float best_y = 0.0F;
  float best_radius = 0.0F;
  const auto search = [&](Step kind, float x0, float y0, float r0, float reach, float r_reach,
                          float step) {
    best_step = 0.0F;
    for (float dy = -reach; dy <= reach + 1e-4F; dy += step) {
      for (float dx = -reach; dx <= reach + 1e-4F; dx += step) {
        for (float dr = -r_reach; dr <= r_reach + 1e-4F; dr += step) {
          const float found = edge_step(smooth, ray, x0 + dx, y0 + dy, r0 + dr, half_gap, kind);
          if (std::abs(found) > std::abs(best_step)) {
            best_step = found;
            best_x = x0 + dx;
            best_y = y0 + dy;
            best_radius = r0 + dr;
          }
        }
      }
    }
  };
  const auto unit = static_cast<float>(ppr);
  search(Step::StandsOut, centre, centre, 0.50F * unit, 0.12F * unit, 0.22F * unit, 0.02F * unit);
  if (std::abs(best_step) < 0.04F * mean) return std::nullopt;
  search(Step::Plain, best_x, best_y, best_radius, 0.02F * unit, 0.02F * unit, 0.005F * unit);

  Pupil pupil;
  pupil.centre = {(best_x - centre) / unit, -(best_y - centre) / unit};
  pupil.radius = best_radius / unit;
  pupil.contrast = best_step / mean;
  return pupil;
}

cv::Mat1b pupil_mask(const Pupil& pupil, double margin, const PatchGeometry& geometry) {
  cv::Mat1b mask(geometry.size_px, geometry.size_px, static_cast<uchar>(0));
  const Eigen::Vector2d centre = geometry.pixel_from(pupil.centre);
  const double radius = std::max(0.0, (pupil.radius - margin) * geometry.pixels_per_radius);
  for (int row = 0; row < mask.rows; ++row) {
    for (int col = 0; col < mask.cols; ++col) {
      if (std::hypot(col - centre.x(), row - centre.y()) <= radius) mask(row, col) = 255;
    }
  }
  return mask;
}

}  // namespace rhumb::lens
