#include "lens/pupil.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <vector>

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

struct Circle {  // in pixels
  float x = 0.0F;
  float y = 0.0F;
  float radius = 0.0F;
  float step = 0.0F;
};

// Steps of luma across a supposed edge: of all meridians that stay within the patch.
struct Steps {
  std::array<float, meridians> across{};  // from just inside to just outside
  // The same less the mean of the steps before and behind it: what a glow that fades evenly has
  // not.
  std::array<float, meridians> beyond_fading{};
  // From well inside to well outside: what a thin bright line has not, such as the rhexis edge.
  std::array<float, meridians> lasting{};
  std::size_t count = 0;
};

Steps steps_at(const cv::Mat1f& smooth, const std::array<Ray, meridians>& ray, const Circle& circle,
               float half_gap_px) {
  Steps steps;
  for (const Ray& r : ray) {
    // At -3, -1, 1 and 3 half gaps from the edge; the outermost repeats where the patch ends.
    std::array<float, 4> luma{};
    bool within = true;
    for (const std::size_t k : {1U, 2U, 0U, 3U}) {
      const float at = circle.radius + (2.0F * static_cast<float>(k) - 3.0F) * half_gap_px;
      const int x = cvRound(circle.x + r.x * at);
      const int y = cvRound(circle.y + r.y * at);
      const bool inside = x >= 0 && y >= 0 && x < smooth.cols && y < smooth.rows;
      if (k == 1U || k == 2U) within = within && inside;
      if (!within) break;
      luma[k] = inside ? smooth(y, x) : luma[k == 0U ? 1 : 2];
    }
    if (!within) continue;
    const float step = luma[1] - luma[2];
    steps.across[steps.count] = step;
    steps.lasting[steps.count] = luma[0] - luma[3];
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
// `least`, or where more than half of it is the fading of the glow or is gone again behind it.
float edge_step(Steps steps, float least) {
  if (2 * steps.count < meridians) return 0.0F;
  const float across = median(steps.across, steps.count);
  if (std::abs(across) <= least) return 0.0F;
  const float beyond_fading = median(steps.beyond_fading, steps.count);
  if (across * beyond_fading <= 0.5F * across * across) return 0.0F;
  const float lasting = median(steps.lasting, steps.count);
  return across * lasting > 0.5F * across * across ? across : 0.0F;
}

template <typename Body>
void for_each_centre(const Circle& middle, float reach, float step, const Body& body) {
  for (float dy = -reach; dy <= reach + 1e-4F; dy += step) {
    for (float dx = -reach; dx <= reach + 1e-4F; dx += step)
      body(Circle{middle.x + dx, middle.y + dy, middle.radius, 0.0F});
  }
}

// The size of the step that three quarters of the meridians share with the median one in sign.
float common_step(Steps steps) {
  if (steps.count == 0) return 0.0F;
  const float sign = median(steps.across, steps.count) < 0.0F ? -1.0F : 1.0F;
  for (float& step : steps.across) step *= sign;
  const auto quarter = steps.across.begin() + static_cast<std::ptrdiff_t>(steps.count / 4);
  std::nth_element(steps.across.begin(), quarter,
                   steps.across.begin() + static_cast<std::ptrdiff_t>(steps.count));
  return *quarter;
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
  const auto unit = static_cast<float>(ppr);

  const auto at = [&](const Circle& circle) { return steps_at(smooth, ray, circle, half_gap); };
  const auto better = [&](const Circle& tried, Circle& best) {
    const float step = edge_step(at(tried), std::abs(best.step));
    if (step != 0.0F) best = {tried.x, tried.y, tried.radius, step};
  };
  std::vector<Circle> by_radius;  // the best of every radius
  for (float radius = 0.28F; radius < 0.73F; radius += 0.02F) {
    const Circle middle{centre, centre, radius * unit, 0.0F};
    Circle best = middle;
    for_each_centre(middle, 0.12F * unit, 0.02F * unit,
                    [&](const Circle& tried) { better(tried, best); });
    by_radius.push_back(best);
  }
  const Circle strongest = *std::max_element(
      by_radius.begin(), by_radius.end(),
      [](const Circle& a, const Circle& b) { return std::abs(a.step) < std::abs(b.step); });
  if (std::abs(strongest.step) < 0.04F * mean) return std::nullopt;
  // Inside the pupil lie the edges of optic and rhexis, outside of it none.
  Circle rough = strongest;
  for (const Circle& circle : by_radius) {
    if (circle.radius < 1.2F * strongest.radius ||
        std::abs(circle.step) < 0.5F * std::abs(strongest.step))
      continue;
    const bool all_round = common_step(at(circle)) > 0.25F * std::abs(strongest.step);
    if (all_round &&
        (rough.radius == strongest.radius || std::abs(circle.step) > std::abs(rough.step)))
      rough = circle;
  }
  Circle best = rough;
  best.step = 0.0F;
  for (float dr = -0.02F; dr < 0.0201F; dr += 0.005F) {
    const Circle middle{rough.x, rough.y, rough.radius + dr * unit, 0.0F};
    for_each_centre(middle, 0.02F * unit, 0.005F * unit,
                    [&](const Circle& tried) { better(tried, best); });
  }

  Pupil pupil;
  pupil.centre = {(best.x - centre) / unit, -(best.y - centre) / unit};
  pupil.radius = best.radius / unit;
  pupil.contrast = best.step / mean;
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
