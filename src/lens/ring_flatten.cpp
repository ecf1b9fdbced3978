#include "lens/ring_flatten.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "eye/circle_fit.h"
#include "lens/side_by_side.h"

namespace rhumb::lens {
namespace {

constexpr std::size_t directions = 180;
constexpr std::size_t reach = 6;  // directions either side: marks span two to five degrees

using eye::Circle;

double off(const Circle& circle, const Eigen::Vector2d& p) {
  return (p - circle.centre).norm() - circle.radius;
}

// The circle that most of a part lies on.
std::optional<Circle> circle_of(const std::vector<Eigen::Vector2d>& part,
                                const PatchGeometry& geometry) {
  const double near_px = 0.03 * geometry.pixels_per_radius;
  constexpr double least_share = 0.6;
  std::vector<Eigen::Vector2d> kept = part;
  std::optional<Circle> circle;
  for (const double allowed : {4.0 * near_px, 2.0 * near_px, near_px}) {
    circle = eye::fit_circle(kept);
    if (!circle) return std::nullopt;
    kept.clear();
    for (const Eigen::Vector2d& p : part) {
      if (std::abs(off(*circle, p)) < allowed) kept.push_back(p);
    }
  }
  const double radii = circle->radius / geometry.pixels_per_radius;
  const bool fits =
      static_cast<double>(kept.size()) >= least_share * static_cast<double>(part.size());
  return fits && radii > 0.2 && radii < 0.8 ? circle : std::nullopt;
}

std::vector<std::vector<Eigen::Vector2d>> parts_of(const cv::Mat1b& ring) {
  cv::Mat1i label;
  const int count = cv::connectedComponents(ring, label, 8, CV_32S);
  std::vector<std::vector<Eigen::Vector2d>> parts(static_cast<std::size_t>(std::max(0, count - 1)));
  for (int row = 0; row < label.rows; ++row) {
    for (int col = 0; col < label.cols; ++col) {
      if (label(row, col) > 0)
        parts[static_cast<std::size_t>(label(row, col) - 1)].emplace_back(col, row);
    }
  }
  return parts;
}

struct Spot {
  int row = 0;
  int col = 0;
  std::size_t away = 0;  // distance from the band's inner side: whole pixels,
  float beyond = 0.0F;   // and what is left
  std::size_t direction = 0;
};

std::size_t direction_of(const Eigen::Vector2d& from_centre) {
  const double turn = std::atan2(from_centre.y(), from_centre.x()) / (2.0 * std::numbers::pi);
  return static_cast<std::size_t>((turn - std::floor(turn)) * directions) % directions;
}

// The directions from the circle's centre in which the part lies, and their neighbours.
std::array<bool, directions> where(const Circle& circle, const std::vector<Eigen::Vector2d>& part) {
  std::array<bool, directions> out{};
  for (const Eigen::Vector2d& p : part) {
    const std::size_t at = direction_of(p - circle.centre);
    for (const std::size_t near : {at + directions - 1, at, at + 1}) out[near % directions] = true;
  }
  return out;
}

std::vector<Spot> spots_about(const Circle& circle, const std::vector<Eigen::Vector2d>& part,
                              int band_px, const cv::Mat1b& usable) {
  const std::array<bool, directions> there = where(circle, part);
  std::vector<Spot> spots;
  const double outer = circle.radius + band_px + 0.5;
  const int top = std::max(0, static_cast<int>(circle.centre.y() - outer));
  const int bottom = std::min(usable.rows - 1, static_cast<int>(circle.centre.y() + outer) + 1);
  const int left = std::max(0, static_cast<int>(circle.centre.x() - outer));
  const int right = std::min(usable.cols - 1, static_cast<int>(circle.centre.x() + outer) + 1);
  for (int row = top; row <= bottom; ++row) {
    for (int col = left; col <= right; ++col) {
      const Eigen::Vector2d p(col, row);
      if (!usable(row, col)) continue;
      const double away = off(circle, p) + band_px;
      if (away < 0.0 || away >= 2.0 * band_px) continue;
      const auto whole = static_cast<std::size_t>(away);
      const std::size_t direction = direction_of(p - circle.centre);
      if (!there[direction]) continue;
      spots.push_back(
          {row, col, whole, static_cast<float>(away - static_cast<double>(whole)), direction});
    }
  }
  return spots;
}

// Running median along the circle, of the directions that were seen; 0 where too few were.
std::array<float, directions> along(const std::array<float, directions>& sum,
                                    const std::array<float, directions>& weight) {
  constexpr float unseen = std::numeric_limits<float>::infinity();  // sorts last
  constexpr std::size_t width = 2 * reach + 1;
  // Once round, with what the first and last windows and the last lanes need beyond.
  std::array<float, directions + 2 * reach + lanes> mean{};
  std::array<float, directions> out{};
  for (std::size_t k = 0; k < mean.size(); ++k) {
    const std::size_t at = (k + directions - reach) % directions;
    mean[k] = weight[at] > 0.0F ? sum[at] / weight[at] : unseen;
  }
  std::array<Lanes, width> window;
  for (std::size_t first = 0; first < directions; first += lanes) {
    std::array<std::size_t, lanes> count{};
    for (std::size_t k = 0; k < width; ++k) {
      std::copy_n(&mean[first + k], lanes, window[k].begin());
      for (std::size_t lane = 0; lane < lanes; ++lane)
        count[lane] += window[k][lane] < unseen ? 1 : 0;
    }
    sort_side_by_side(window);
    for (std::size_t lane = 0; lane < std::min(lanes, directions - first); ++lane) {
      if (weight[first + lane] > 0.0F && count[lane] >= reach)
        out[first + lane] = window[count[lane] / 2][lane];
    }
  }
  return out;
}

void flatten(cv::Mat1f& value, const std::vector<Spot>& spots, int band_px) {
  using Profile = std::array<float, directions>;
  std::vector<Profile> sum(static_cast<std::size_t>(2 * band_px + 1));
  std::vector<Profile> weight(sum.size());
  for (Profile& one : sum) one.fill(0.0F);
  for (Profile& one : weight) one.fill(0.0F);
  for (const Spot& spot : spots) {
    for (const std::size_t next : {0U, 1U}) {
      const float share = next == 1U ? spot.beyond : 1.0F - spot.beyond;
      sum[spot.away + next][spot.direction] += share * value(spot.row, spot.col);
      weight[spot.away + next][spot.direction] += share;
    }
  }
  for (std::size_t k = 0; k < sum.size(); ++k) sum[k] = along(sum[k], weight[k]);
  for (const Spot& spot : spots) {
    value(spot.row, spot.col) -= (1.0F - spot.beyond) * sum[spot.away][spot.direction] +
                                 spot.beyond * sum[spot.away + 1][spot.direction];
  }
}

}  // namespace

void flatten_rings(ContrastMap& map, const PatchGeometry& geometry) {
  if (map.ring.empty()) return;
  const int band_px = static_cast<int>(std::lround(0.06 * geometry.pixels_per_radius));
  for (const auto& part : parts_of(map.ring)) {
    const auto circle = circle_of(part, geometry);
    if (!circle) continue;
    const auto spots = spots_about(*circle, part, band_px, map.usable);
    for (auto& value : map.value) flatten(value, spots, band_px);
    for (const Eigen::Vector2d& p : part)
      map.ring(static_cast<int>(p.y()), static_cast<int>(p.x())) = 0;
  }
}

}  // namespace rhumb::lens
