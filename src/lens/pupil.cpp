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
  std::array<float, meridians> near_lasting{};
  std::array<float, meridians> far_lasting{};
  std::size_t count = 0;
};

Steps steps_at(const cv::Mat1f& smooth, const std::array<Ray, meridians>& ray, const Circle& circle,
               float half_gap_px) {
  Steps steps;
  for (const Ray& r : ray) {
    // At -5, -3, -1, 1, 3 and 5 half gaps from the edge; the outer ones repeat where the patch
    // ends.
    std::array<float, 6> luma{};
    bool within = true;
    for (const std::size_t k : {2U, 3U, 1U, 4U, 0U, 5U}) {
      const float at = circle.radius + (2.0F * static_cast<float>(k) - 5.0F) * half_gap_px;
      const int x = cvRound(circle.x + r.x * at);
      const int y = cvRound(circle.y + r.y * at);
      const bool inside = x >= 0 && y >= 0 && x < smooth.cols && y < smooth.rows;
      if (k == 2U || k == 3U) within = within && inside;
      if (!within) break;
      luma[k] = inside ? smooth(y, x) : luma[k < 2U ? k + 1 : k - 1];
    }
    if (!within) continue;
    const float step = luma[2] - luma[3];
    steps.across[steps.count] = step;
    steps.near_lasting[steps.count] = luma[1] - luma[4];
    steps.far_lasting[steps.count] = luma[0] - luma[5];
    steps.beyond_fading[steps.count++] = step - 0.5F * (luma[1] - luma[2] + luma[3] - luma[4]);
  }
  return steps;
}

float median(std::array<float, meridians>& values, std::size_t count) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(values.begin(), middle, values.begin() + static_cast<std::ptrdiff_t>(count));
  return *middle;
}

// The median step over the meridians; 0 where under half of them are left, where it does not exceed
// `least`, or where more than half of it is the fading of the glow or three quarters are gone again
// behind it.
float edge_step(Steps steps, float least) {
  if (2 * steps.count < meridians) return 0.0F;
  const float across = median(steps.across, steps.count);
  if (std::abs(across) <= least) return 0.0F;
  const float beyond_fading = median(steps.beyond_fading, steps.count);
  if (across * beyond_fading <= 0.5F * across * across) return 0.0F;
  for (auto* lasting : {&steps.near_lasting, &steps.far_lasting})
    if (across * median(*lasting, steps.count) <= 0.25F * across * across) return 0.0F;
  return across;
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

class Search {
 public:
  Search(const cv::Mat& patch, const PatchGeometry& geometry)
      : unit_(static_cast<float>(geometry.pixels_per_radius)),
        middle_(static_cast<float>(geometry.centre_px())) {
    patch.convertTo(smooth_, CV_32F);
    cv::GaussianBlur(smooth_, smooth_, cv::Size(), 0.015 * geometry.pixels_per_radius);
    mean_ = static_cast<float>(std::max(1.0, cv::mean(smooth_)[0]));
  }

  float mean() const { return mean_; }

  std::vector<Circle> best_by_radius() const {
    std::vector<Circle> out;
    for (float radius = 0.28F; radius < 0.73F; radius += 0.02F)
      out.push_back(best_about({middle_, middle_, radius * unit_, 0.0F}, 0.12F, 0.02F));
    return out;
  }

  // Inside the pupil lie the edges of optic and rhexis, outside of it none: the strongest edge of
  // the same sign well outside of this one, if it is there all round; else this one.
  Circle about(const Circle& strongest, const std::vector<Circle>& by_radius) const {
    const float size = std::abs(strongest.step);
    Circle outer;
    for (const Circle& circle : by_radius) {
      if (circle.radius < 1.2F * strongest.radius || circle.step * strongest.step <= 0.0F ||
          std::abs(circle.step) < std::max(0.5F * size, std::abs(outer.step)))
        continue;
      if (common_step(at(circle)) > 0.1F * size) outer = circle;
    }
    return outer.step != 0.0F ? outer : strongest;
  }

  Circle refined(const Circle& rough) const {
    Circle best = rough;
    for (float dr = -0.02F; dr < 0.0201F; dr += 0.005F) {
      const Circle found =
          best_about({rough.x, rough.y, rough.radius + dr * unit_, 0.0F}, 0.02F, 0.005F);
      if (std::abs(found.step) > std::abs(best.step)) best = found;
    }
    return best;
  }

 private:
  Steps at(const Circle& circle) const { return steps_at(smooth_, ray_, circle, 0.025F * unit_); }

  // The best of the circles of one radius whose centres lie within `reach` (limbal radii).
  Circle best_about(const Circle& middle, float reach, float step) const {
    Circle best = middle;
    const float reach_px = reach * unit_ + 1e-4F;
    for (float dy = -reach * unit_; dy <= reach_px; dy += step * unit_) {
      for (float dx = -reach * unit_; dx <= reach_px; dx += step * unit_) {
        const Circle tried{middle.x + dx, middle.y + dy, middle.radius, 0.0F};
        const float found = edge_step(at(tried), std::abs(best.step));
        if (found != 0.0F) best = {tried.x, tried.y, tried.radius, found};
      }
    }
    return best;
  }

  cv::Mat1f smooth_;
  std::array<Ray, meridians> ray_ = rays();
  float unit_;
  float middle_;
  float mean_ = 1.0F;
};

}  // namespace

std::optional<Pupil> find_pupil(const cv::Mat& patch, const PatchGeometry& geometry) {
  const Search search(patch, geometry);
  const std::vector<Circle> by_radius = search.best_by_radius();
  const Circle strongest = *std::max_element(
      by_radius.begin(), by_radius.end(),
      [](const Circle& a, const Circle& b) { return std::abs(a.step) < std::abs(b.step); });
  if (std::abs(strongest.step) < 0.04F * search.mean()) return std::nullopt;
  const Circle best = search.refined(search.about(strongest, by_radius));
  Pupil pupil;
  const double middle = geometry.centre_px();
  pupil.centre = {(static_cast<double>(best.x) - middle) / geometry.pixels_per_radius,
                  -(static_cast<double>(best.y) - middle) / geometry.pixels_per_radius};
  pupil.radius = static_cast<double>(best.radius) / geometry.pixels_per_radius;
  pupil.contrast = static_cast<double>(best.step / search.mean());
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
