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

constexpr std::size_t planes_count = 2;  // luma and saturation

struct Circle {  // in pixels
  float x = 0.0F;
  float y = 0.0F;
  float radius = 0.0F;
  std::array<float, planes_count> step{};  // 0 where a plane shows no edge

  float size() const { return std::hypot(step[0], step[1]); }
};

// Steps of one plane across a supposed edge: of all meridians that stay within the patch.
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
    std::array<float, 6> value{};
    bool within = true;
    for (const std::size_t k : {2U, 3U, 1U, 4U, 0U, 5U}) {
      const float at = circle.radius + (2.0F * static_cast<float>(k) - 5.0F) * half_gap_px;
      const int x = cvRound(circle.x + r.x * at);
      const int y = cvRound(circle.y + r.y * at);
      const bool inside = x >= 0 && y >= 0 && x < smooth.cols && y < smooth.rows;
      if (k == 2U || k == 3U) within = within && inside;
      if (!within) break;
      value[k] = inside ? smooth(y, x) : value[k < 2U ? k + 1 : k - 1];
    }
    if (!within) continue;
    const float step = value[2] - value[3];
    steps.across[steps.count] = step;
    steps.near_lasting[steps.count] = value[1] - value[4];
    steps.far_lasting[steps.count] = value[0] - value[5];
    steps.beyond_fading[steps.count++] = step - 0.5F * (value[1] - value[2] + value[3] - value[4]);
  }
  return steps;
}

float median(std::array<float, meridians>& values, std::size_t count) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(count / 2);
  std::nth_element(values.begin(), middle, values.begin() + static_cast<std::ptrdiff_t>(count));
  return *middle;
}

// The median step `across` over the meridians; 0 where more than half of it is the fading of the
// glow or three quarters are gone again behind it.
float edge_step(Steps steps, float across) {
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
  Search(const cv::Mat& luma, const cv::Mat& saturation, const PatchGeometry& geometry)
      : unit_(static_cast<float>(geometry.pixels_per_radius)),
        middle_(static_cast<float>(geometry.centre_px())) {
    for (const cv::Mat* plane : {&luma, &saturation}) {
      if (plane->empty()) continue;
      cv::Mat1f smooth;
      plane->convertTo(smooth, CV_32F);
      cv::GaussianBlur(smooth, smooth, cv::Size(), 0.015 * geometry.pixels_per_radius);
      smooth_.push_back(smooth);
    }
    mean_ = static_cast<float>(std::max(1.0, cv::mean(smooth_.front())[0]));
  }

  float mean() const { return mean_; }

  std::vector<Circle> best_by_radius() const {
    std::vector<Circle> out;
    for (float radius = 0.28F; radius < 0.73F; radius += 0.02F)
      out.push_back(best_about({middle_, middle_, radius * unit_}, 0.12F, 0.02F, smooth_.size()));
    return out;
  }

  // Inside the pupil lie the edges of optic and rhexis, outside of it none: the strongest edge of
  // the same kind well outside of this one, if it is there all round; else this one.
  Circle about(const Circle& strongest, const std::vector<Circle>& by_radius) const {
    Circle outer;
    for (const Circle& circle : by_radius) {
      const float alike = circle.step[0] * strongest.step[0] + circle.step[1] * strongest.step[1];
      if (circle.radius < 1.2F * strongest.radius || alike <= 0.0F ||
          circle.size() < std::max(0.5F * strongest.size(), outer.size()))
        continue;
      const std::size_t plane = std::abs(circle.step[0]) >= std::abs(circle.step[1]) ? 0 : 1;
      if (common_step(at(circle, plane)) > 0.1F * strongest.size()) outer = circle;
    }
    return outer.size() > 0.0F ? outer : strongest;
  }

  // To a fraction of a pixel; by luma alone where luma shows the edge, since colour is coded at
  // half the sharpness.
  Circle refined(const Circle& rough, float least_luma) const {
    Circle best = refined_by(rough, smooth_.size());
    if (std::abs(best.step[0]) < least_luma) return best;
    Circle by_luma = best;
    by_luma.step[1] = 0.0F;
    return refined_by(by_luma, 1);
  }

 private:
  Steps at(const Circle& circle, std::size_t plane) const {
    return steps_at(smooth_[plane], ray_, circle, 0.025F * unit_);
  }

  Circle refined_by(const Circle& rough, std::size_t planes) const {
    Circle best = rough;
    for (float dr = -0.02F; dr < 0.0201F; dr += 0.005F) {
      const Circle found =
          best_about({rough.x, rough.y, rough.radius + dr * unit_}, 0.02F, 0.005F, planes);
      if (found.size() > best.size()) best = found;
    }
    return best;
  }

  // The best of the circles of one radius whose centres lie within `reach` (limbal radii), by the
  // first planes.
  Circle best_about(const Circle& middle, float reach, float step, std::size_t planes) const {
    Circle best = middle;
    const float reach_px = reach * unit_ + 1e-4F;
    for (float dy = -reach * unit_; dy <= reach_px; dy += step * unit_) {
      for (float dx = -reach * unit_; dx <= reach_px; dx += step * unit_) {
        const Circle tried =
            with_steps({middle.x + dx, middle.y + dy, middle.radius}, planes, best.size());
        if (tried.size() > best.size()) best = tried;
      }
    }
    return best;
  }

  // No steps where they are not larger than `least`, or under half of the meridians are left.
  Circle with_steps(Circle circle, std::size_t planes, float least) const {
    std::array<Steps, planes_count> steps;
    std::array<float, planes_count> across{};
    for (std::size_t plane = 0; plane < planes; ++plane) {
      steps[plane] = at(circle, plane);
      if (2 * steps[plane].count < meridians) return circle;
      across[plane] = median(steps[plane].across, steps[plane].count);
    }
    if (std::hypot(across[0], across[1]) <= least) return circle;
    for (std::size_t plane = 0; plane < planes; ++plane)
      circle.step[plane] = edge_step(steps[plane], across[plane]);
    return circle;
  }

  std::vector<cv::Mat1f> smooth_;
  std::array<Ray, meridians> ray_ = rays();
  float unit_;
  float middle_;
  float mean_ = 1.0F;  // of luma
};

}  // namespace

std::optional<Pupil> find_pupil(const cv::Mat& luma, const cv::Mat& saturation,
                                const PatchGeometry& geometry) {
  const Search search(luma, saturation, geometry);
  const float least = 0.04F * search.mean();
  const std::vector<Circle> by_radius = search.best_by_radius();
  const Circle strongest =
      *std::max_element(by_radius.begin(), by_radius.end(),
                        [](const Circle& a, const Circle& b) { return a.size() < b.size(); });
  if (strongest.size() < least) return std::nullopt;
  const Circle best = search.refined(search.about(strongest, by_radius), least);
  Pupil pupil;
  const double middle = geometry.centre_px();
  pupil.centre = {(static_cast<double>(best.x) - middle) / geometry.pixels_per_radius,
                  -(static_cast<double>(best.y) - middle) / geometry.pixels_per_radius};
  pupil.radius = static_cast<double>(best.radius) / geometry.pixels_per_radius;
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
