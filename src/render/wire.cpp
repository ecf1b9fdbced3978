#include "render/wire.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rhumb::render {

Vec4 rod_light(const RodLook& look, float across, float along) {
  // A cylinder under a light near the line of sight: bright a little off the middle, dark at the
  // rims, with the surroundings mirrored as two soft bands.
  const float a = std::clamp(across, -1.0F, 1.0F);
  const float normal = std::sqrt(1.0F - a * a);
  const float line = std::exp(-std::pow((a + 0.22F) / 0.13F, 2.0F));
  const float band = 0.5F * std::exp(-std::pow((a - 0.45F) / 0.18F, 2.0F));
  const float grain = 1.0F + 0.05F * std::sin(0.11F * along) * std::sin(0.037F * along + 1.0F);
  Vec4 light = look.base * (0.25F + 0.75F * normal) * grain;
  light += all(look.shine * (0.85F * line + 0.22F * band) * grain);
  light[3] = look.opacity;
  return light;
}

namespace {

// First and last column that the rod may touch in row y.
std::pair<int, int> touched(const std::vector<Point>& points,
                            const std::vector<double>& half_widths, int columns, int y) {
  double left = 1e9;
  double right = -1e9;
  for (std::size_t i = 0; i + 1 < points.size(); ++i) {
    const Point& a = points[i];
    const Point& b = points[i + 1];
    const double reach = std::max(half_widths[i], half_widths[i + 1]) + 2.0;
    if (y < std::min(a.y, b.y) - reach || y > std::max(a.y, b.y) + reach) continue;
    // The part of the middle line within reach of the row.
    double from = 0.0;
    double to = 1.0;
    if (std::abs(b.y - a.y) > 1e-9) {
      const double s = (y - reach - a.y) / (b.y - a.y);
      const double t = (y + reach - a.y) / (b.y - a.y);
      from = std::clamp(std::min(s, t), 0.0, 1.0);
      to = std::clamp(std::max(s, t), 0.0, 1.0);
    }
    for (const double t : {from, to}) {
      const double x = a.x + t * (b.x - a.x);
      left = std::min(left, x - reach);
      right = std::max(right, x + reach);
    }
  }
  return {std::max(0, static_cast<int>(std::clamp(left, 0.0, 1e6))),
          std::min(columns - 1, static_cast<int>(std::clamp(right + 1.0, -1.0, 1e6)))};
}

}  // namespace

void trace_rod(const std::vector<Point>& points, const std::vector<double>& half_widths,
               int columns, int y0, int y1, const PutRod& put) {
  if (points.size() < 2) return;
  double top = 1e9;
  double bottom = -1e9;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const double reach = half_widths[i] + 2.0;
    top = std::min(top, points[i].y - reach);
    bottom = std::max(bottom, points[i].y + reach);
  }
  for (int y = std::max(y0, static_cast<int>(std::clamp(top, -1e6, 1e6))); y < y1 && y <= bottom;
       ++y) {
    const auto [x0, x1] = touched(points, half_widths, columns, y);
    for (int x = x0; x <= x1; ++x) {
      double nearest = 1e18;
      double side = 0.0;
      double half = 1.0;
      double along = 0.0;
      double before = 0.0;
      for (std::size_t i = 0; i + 1 < points.size(); ++i) {
        const double dx = points[i + 1].x - points[i].x;
        const double dy = points[i + 1].y - points[i].y;
        const double length2 = std::max(1e-9, dx * dx + dy * dy);
        const double px = x - points[i].x;
        const double py = y - points[i].y;
        const double t = std::clamp((px * dx + py * dy) / length2, 0.0, 1.0);
        const double ex = px - t * dx;
        const double ey = py - t * dy;
        const double distance2 = ex * ex + ey * ey;
        const double length = std::sqrt(length2);
        if (distance2 < nearest) {
          nearest = distance2;
          side = (px * dy - py * dx) < 0 ? -1.0 : 1.0;
          half = half_widths[i] + t * (half_widths[i + 1] - half_widths[i]);
          along = before + t * length;
        }
        before += length;
      }
      if (nearest > (half + 0.5) * (half + 0.5)) continue;
      const double distance = std::sqrt(nearest);
      put(x, y, static_cast<float>(side * distance / std::max(half, 0.5)),
          static_cast<float>(along),
          static_cast<float>(std::clamp(half - distance + 0.5, 0.0, 1.0)));
    }
  }
}

}  // namespace rhumb::render
