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

// Steps of luma across a supposed edge: of all meridians that stay within the patch.
struct Steps {
  std::array<float, meridians> across{};  // from just inside to just outside
  // The same less the mean of the steps before and behind it: what a glow that fades evenly has
  // not.
  std::array<float, meridians> beyond_fading{};
  std::size_t count = 0;
};

Steps steps_at(const cv::Mat1f& smooth, const std::array<Ray, meridians>& ray, float cx, float cy,
               float radius_px, float half_gap_px) {
  Steps steps;
  for (const Ray& r : ray) {
    // At -3, -1, 1 and 3 half gaps from the edge; the outermost repeats where the patch ends.
    std::array<float, 4> luma{};
    bool within = true;
    for (const std::size_t k : {1U, 2U, 0U, 3U}) {
      const float at = radius_px + (2.0F * static_cast<float>(k) - 3.0F) * half_gap_px;
      const int x = cvRound(cx + r.x * at);
      const int y = cvRound(cy + r.y * at);
      const bool inside = x >= 0 && y >= 0 && x < smooth.cols && y < smooth.rows;
      if (k == 1U || k == 2U) within = within && inside;
      if (!within) break;
      luma[k] = inside ? smooth(y, x) : luma[k == 0U ? 1 : 2];
    }
    if (!within) continue;
    const float step = luma[1] - luma[2];
    steps.across[steps.count] = step;
    steps.beyond_fading[steps.count++] = step - 0.5F * (luma[0] - luma[1] + luma[2] - luma[3]);
  }
  return steps;
}

float median(std::array<float, meridians>& values, std::size_t count) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(values.begin(), middle, values.begin() + static_cast<std::ptrdiff_t>(count));
  return *middle;
}

// The median step over the meridians; 0 where under half of them are left, where it does not exceed
// `least`, or where more than half of it is the fading of the glow.
float edge_step(Steps steps, float least) {
  if (2 * steps.count < meridians) return 0.0F;
  const float across = median(steps.across, steps.count);
  if (std::abs(across) <= least) return 0.0F;
  const float beyond_fading = median(steps.beyond_fading, steps.count);
  return across * beyond_fading > 0.5F * across * across ? across : 0.0F;
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
  const auto search = [&](float x0, float y0, float r0, float reach, float r_reach, float step) {
    for (float dy = -reach; dy <= reach + 1e-4F; dy += step) {
      for (float dx = -reach; dx <= reach + 1e-4F; dx += step) {
        for (float dr = -r_reach; dr <= r_reach + 1e-4F; dr += step) {
          const float found = edge_step(steps_at(smooth, ray, x0 + dx, y0 + dy, r0 + dr, half_gap),
                                        std::abs(best_step));
          if (found != 0.0F) {
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
  search(centre, centre, 0.50F * unit, 0.12F * unit, 0.22F * unit, 0.02F * unit);
  if (std::abs(best_step) < 0.04F * mean) return std::nullopt;
  search(best_x, best_y, best_radius, 0.02F * unit, 0.02F * unit, 0.005F * unit);

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
