// What lies over the eye's own picture: bubbles, instruments with their shadows, reflections of the
// lamps.
#include <cmath>
#include <numbers>

#include "render/rng.h"
#include "render/stage.h"
#include "render/wire.h"

namespace rhumb::render {
namespace {

constexpr double pi = std::numbers::pi;

// Pixels of rows [y0, y1) within a radius.
template <class Put>
void within(double cx, double cy, double radius, int width, int y0, int y1, const Put& put) {
  const int top = std::max(y0, static_cast<int>(std::floor(cy - radius)));
  const int bottom = std::min(y1 - 1, static_cast<int>(std::ceil(cy + radius)));
  const int left = std::max(0, static_cast<int>(std::floor(cx - radius)));
  const int right = std::min(width - 1, static_cast<int>(std::ceil(cx + radius)));
  for (int y = top; y <= bottom; ++y)
    for (int x = left; x <= right; ++x) put(x, y, x - cx, y - cy);
}

struct Bubble {
  Eigen::Vector2d at_px;
  double radius_px;
};

std::vector<Bubble> bubbles_of(const Instant& now, const Scene& scene) {
  std::vector<Bubble> all_bubbles;
  Rng rng(key_of(scene.seed, 601));
  const double z = surfaces_of(scene.eye).iris_z + 1.2;  // they rise to the cornea
  for (int i = 0; i < scene.clutter.bubbles; ++i) {
    const double a = rng.uniform(0.0, 2.0 * pi);
    const double r = 3.6 * std::sqrt(rng.uniform());
    const double half = rng.uniform(0.08, 0.30);
    const double start = rng.uniform(-0.3, 0.8) * scene.seconds;
    const double life = rng.uniform(0.3, 0.8) * scene.seconds;
    if (now.time_s < start || now.time_s > start + life) continue;
    const std::uint64_t key = key_of(scene.seed, 610 + static_cast<unsigned>(i));
    const double x = r * std::cos(a) + 0.5 * wander(key, 0.2 * now.time_s);
    const double y = r * std::sin(a) + 0.5 * wander(key + 1, 0.2 * now.time_s);
    all_bubbles.push_back({now.view.project_inside({x, y, z}), half * now.view.px_per_mm()});
  }
  const int ring = scene.clutter.ring_bubbles;
  for (int i = 0; i < ring; ++i) {
    const double a = 2.0 * pi * (i + 0.35 * rng.uniform(-1.0, 1.0)) / ring;
    const double r = scene.clutter.ring_mm * (1.0 + 0.03 * rng.normal());
    const double half = rng.uniform(0.07, 0.17);
    const double drift = 0.04 * wander(key_of(scene.seed, 680), 0.15 * now.time_s);
    all_bubbles.push_back(
        {now.view.project_inside({r * std::cos(a + drift), r * std::sin(a + drift), z}),
         half * now.view.px_per_mm()});
  }
  return all_bubbles;
}

struct Glint {
  Eigen::Vector2d at_px;
  double radius_px;
  double light;
  double square;  // 0 round, 1 square
};

// A convex mirror shows a far lamp where its normal halves the angle between lamp and observer.
Eigen::Vector2d mirror_point(const View& view, const Eigen::Vector3d& centre, double radius_mm,
                             const Eigen::Vector3d& lamp) {
  const Eigen::Vector3d halfway = (lamp.normalized() + Eigen::Vector3d::UnitZ()).normalized();
  const Eigen::Vector3d at = view.scene_from(centre) + radius_mm * halfway;
  return view.picture_from(at.head<2>());
}

std::vector<Glint> glints_of(const Instant& now, const Scene& scene) {
  std::vector<Glint> all_glints;
  const Surfaces s = surfaces_of(scene.eye);
  Rng rng(key_of(scene.seed, 620));
  const Microscope& m = scene.microscope;
  const double scale = now.view.px_per_mm();
  const double turn = rng.uniform(0.0, pi);
  const Eigen::Vector3d cornea(0.0, 0.0, s.cornea_centre_z);
  for (int i = 0; i < m.lamps; ++i) {
    // The lamps stand a few degrees round the line of sight.
    const double off = i == 0 ? rng.uniform(0.01, 0.04) : rng.uniform(0.05, 0.13);
    const double a = turn + i * pi + rng.uniform(-0.4, 0.4);
    Eigen::Vector3d lamp(off * std::cos(a), off * std::sin(a), 1.0);
    if (i == 0 && m.lamp_placed) {
      // Mirrored at a wanted place: the normal there halves the angle to the observer.
      Eigen::Vector3d normal(m.lamp_at_mm[0], m.lamp_at_mm[1], 0.0);
      normal /= s.cornea_radius_mm;
      normal.z() = std::sqrt(std::max(0.0, 1.0 - normal.squaredNorm()));
      lamp = 2.0 * normal.z() * normal - Eigen::Vector3d::UnitZ();
    }
    const double size = m.lamp_mm * (i == 0 ? 1.0 : rng.uniform(0.45, 0.8));
    all_glints.push_back({mirror_point(now.view, cornea, s.cornea_radius_mm, lamp), size * scale,
                          i == 0 ? 14.0 : 6.0, rng.uniform(0.0, 1.0)});
    // The lens's front surface mirrors too, faintly, at its own slope.
    if (now.lens.drawn && now.lens.in_eye) {
      const Lens& lens = now.lens.previous ? scene.previous : scene.lens;
      const LensAxes axes = lens_axes(now.lens, lens, s);
      const Eigen::Vector3d centre = axes.centre - 9.5 * axes.normal;
      all_glints.push_back({mirror_point(now.view, centre, 9.5, lamp), 0.55 * size * scale,
                            i == 0 ? 0.9 : 0.35, 0.0});
    }
  }
  return all_glints;
}

double rod_half_mm(Tool tool) {
  switch (tool) {
    case Tool::Hook:
      return 0.22;
    case Tool::Cannula:
      return 0.25;
    case Tool::Aspirator:
      return 0.62;
    case Tool::Forceps:
      return 0.30;
    case Tool::Injector:
      return 0.95;
    case Tool::None:
      break;
  }
  return 0.2;
}

}  // namespace

std::vector<ToolOutline> tool_outlines(const Instant& now, const Scene& scene) {
  std::vector<ToolOutline> outlines;
  const Surfaces s = surfaces_of(scene.eye);
  const double scale = now.view.px_per_mm();
  for (const ToolState& tool : now.tools) {
    const Eigen::Vector2d tip = now.view.project({tool.tip_x_mm, tool.tip_y_mm, s.iris_z});
    const double rim = s.limbus_mean_mm - 0.2;
    const Eigen::Vector2d port =
        now.view.project({rim * std::cos(tool.port_rad), rim * std::sin(tool.port_rad), 0.2});
    // Held from outside, the rod pivots in the incision.
    Eigen::Vector2d out = port - tip;
    const Eigen::Vector2d radial = now.view.project({2.0 * rim * std::cos(tool.port_rad),
                                                     2.0 * rim * std::sin(tool.port_rad), 0.2}) -
                                   port;
    out = out.normalized() * 0.6 + radial.normalized();
    // Not in the eye yet, it hangs over the incision.
    const bool inside = std::hypot(tool.tip_x_mm, tool.tip_y_mm) < rim;
    const Eigen::Vector2d pivot =
        inside ? port : Eigen::Vector2d(tip + 2.0 * scale * radial.normalized());
    const Eigen::Vector2d hand = pivot + (inside ? out : radial).normalized() * 30.0 * scale;
    const double half = rod_half_mm(tool.tool) * scale;
    const auto rod = [&](const Eigen::Vector2d& a, const Eigen::Vector2d& b,
                         const Eigen::Vector2d& c, double wide, double narrow) {
      outlines.push_back(
          {{{a.x(), a.y()}, {b.x(), b.y()}, {c.x(), c.y()}}, {1.5 * wide, wide, narrow}});
    };
    const Eigen::Vector2d along = (tip - pivot).normalized();
    const Eigen::Vector2d side(-along.y(), along.x());
    if (tool.tool == Tool::Forceps) {
      rod(hand, pivot + 0.25 * half * side, tip + 0.7 * half * side, 0.8 * half, 0.35 * half);
      rod(hand, pivot - 0.25 * half * side, tip - 0.7 * half * side, 0.8 * half, 0.35 * half);
    } else if (tool.tool == Tool::Hook) {
      rod(hand, pivot, tip, half, 0.55 * half);
      const Eigen::Vector2d bent = tip + 0.5 * scale * side;
      outlines.push_back({{{tip.x(), tip.y()}, {bent.x(), bent.y()}}, {0.5 * half, 0.4 * half}});
    } else {
      rod(hand, pivot, tip, half, 0.8 * half);
    }
  }
  return outlines;
}

void Stage::draw_bubbles(const Instant& now, int y0, int y1, Vec4* rows) const {
  const int width = scene_.camera.width;
  for (const Bubble& b : bubbles_of(now, scene_)) {
    within(
        b.at_px.x(), b.at_px.y(), b.radius_px + 1.5, width, y0, y1,
        [&](int x, int y, double dx, double dy) {
          const double q = std::hypot(dx, dy) / b.radius_px;
          const auto cover =
              static_cast<float>(std::clamp((1.0 - q) * b.radius_px + 0.5, 0.0, 1.0));
          Vec4& p = rows[static_cast<std::ptrdiff_t>(y - y0) * width + x];
          // Total reflection darkens the rim; the middle looks through; two mirror images of the
          // lamp.
          const auto rim = static_cast<float>(ease(0.62, 0.93, q));
          const double hx = dx / b.radius_px;
          const double hy = dy / b.radius_px;
          const double spot = std::exp(-(std::pow(hx + 0.42, 2) + std::pow(hy + 0.42, 2)) / 0.012);
          const double back = std::exp(-(std::pow(hx - 0.5, 2) + std::pow(hy - 0.5, 2)) / 0.03);
          const Vec4 inside = p * (0.95F - 0.72F * rim) +
                              all(static_cast<float>(2.5 * spot + 0.35 * back + 0.10 * (q > 0.9)));
          p += (inside - p) * cover;
        });
  }
}

void Stage::draw_tools(const Instant& now, int y0, int y1, Vec4* rows) const {
  const int width = scene_.camera.width;
  const double scale = now.view.px_per_mm();
  const auto pixel = [&](int x, int y) -> Vec4& {
    return rows[static_cast<std::ptrdiff_t>(y - y0) * width + x];
  };
  for (const ToolOutline& outline : tool_outlines(now, scene_)) {
    // A soft shadow a little to one side, deeper away from the tip.
    ToolOutline shadow = outline;
    for (std::size_t i = 0; i < shadow.points.size(); ++i) {
      const double depth = i + 1 == shadow.points.size() ? 0.25 : 0.6;
      shadow.points[i].x += 0.7 * depth * scale;
      shadow.points[i].y += 0.9 * depth * scale;
      shadow.half_px[i] *= 1.5;
    }
    trace_rod(shadow.points, shadow.half_px, width, y0, y1,
              [&](int x, int y, float across, float, float cover) {
                const float soft = cover * (1.0F - across * across);
                pixel(x, y) *= 1.0F - 0.55F * soft;
              });
    const bool clear = !now.tools.empty() && now.tools.front().tool == Tool::Injector;
    const RodLook look = clear ? RodLook{{0.10F, 0.14F, 0.17F, 0}, 0.5F, 0.75F}
                               : RodLook{{0.17F, 0.172F, 0.175F, 0}, 0.85F, 1.0F};
    trace_rod(outline.points, outline.half_px, width, y0, y1,
              [&](int x, int y, float across, float along, float cover) {
                const Eigen::Vector2d at = now.view.scene_from_picture(Eigen::Vector2d(x, y));
                const float light =
                    lamp_light(all(static_cast<float>(at.x() - now.beam_mm.x())),
                               all(static_cast<float>(at.y() - now.beam_mm.y())))[0];
                const Vec4 metal = rod_light(look, across, along) * (0.35F + 0.65F * light);
                pixel(x, y) += (metal - pixel(x, y)) * (cover * look.opacity);
              });
  }
}

namespace {

// The halo is a Gaussian of the distance: a product of one along each side.
std::vector<float> bell(int from, int to, double centre, double variance) {
  std::vector<float> values;
  for (int i = from; i <= to; ++i)
    values.push_back(static_cast<float>(std::exp(-(i - centre) * (i - centre) / (2.0 * variance))));
  return values;
}

void draw_glint(const Glint& g, int width, int y0, int y1, Vec4* rows) {
  const double bloom = 5.0 * g.radius_px + 4.0;
  const double cx = g.at_px.x();
  const double cy = g.at_px.y();
  const int top = std::max(y0, static_cast<int>(std::floor(cy - 3.0 * bloom)));
  const int bottom = std::min(y1 - 1, static_cast<int>(std::ceil(cy + 3.0 * bloom)));
  const int left = std::max(0, static_cast<int>(std::floor(cx - 3.0 * bloom)));
  const int right = std::min(width - 1, static_cast<int>(std::ceil(cx + 3.0 * bloom)));
  const std::vector<float> along = bell(left, right, cx, bloom * bloom / 2.5);
  const std::vector<float> down = bell(top, bottom, cy, bloom * bloom / 2.5);
  const Vec4 light = Vec4{1.0F, 0.98F, 0.93F, 0.0F} * static_cast<float>(g.light);
  for (int y = top; y <= bottom; ++y) {
    Vec4* row = rows + static_cast<std::ptrdiff_t>(y - y0) * width;
    const float halo = 0.006F * down[static_cast<std::size_t>(y - top)];
    for (int x = left; x <= right; ++x)
      row[x] += light * (halo * along[static_cast<std::size_t>(x - left)]);
  }
  within(cx, cy, 1.5 * g.radius_px + 1.0, width, y0, y1, [&](int x, int y, double dx, double dy) {
    const double round = std::hypot(dx, dy);
    const double box = std::max(std::abs(dx), std::abs(dy));
    const double d = round + g.square * (box - round);
    rows[static_cast<std::ptrdiff_t>(y - y0) * width + x] +=
        light * static_cast<float>(std::clamp(g.radius_px - d + 0.5, 0.0, 1.0));
  });
}

}  // namespace

void Stage::draw_glints(const Instant& now, int y0, int y1, Vec4* rows) const {
  for (const Glint& g : glints_of(now, scene_)) draw_glint(g, scene_.camera.width, y0, y1, rows);
}

std::vector<Disc> Stage::glints(const Instant& now) const {
  std::vector<Disc> discs;
  for (const Glint& g : glints_of(now, scene_))
    if (g.light > 1.0) discs.push_back({g.at_px.x(), g.at_px.y(), 1.3 * g.radius_px + 1.0});
  for (const Bubble& b : bubbles_of(now, scene_))
    discs.push_back({b.at_px.x(), b.at_px.y(), b.radius_px});
  return discs;
}

}  // namespace rhumb::render
