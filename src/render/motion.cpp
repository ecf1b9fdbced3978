#include "render/motion.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "render/rng.h"

namespace rhumb::render {
namespace {

constexpr double pi = std::numbers::pi;

// A turn comes in several pushes: 0 to 1 over the step, never backwards.
double pushed(const Step& step, std::uint64_t key, double t_s) {
  const double f = std::clamp((t_s - step.at_s) / step.seconds, 0.0, 1.0);
  if (step.act == Act::Settle) return ease(0.0, 1.0, f);
  const int pushes = std::max(1, static_cast<int>(std::lround(step.seconds / 0.8)));
  Rng rng(key);
  double total = 0.0;
  double done = 0.0;
  for (int i = 0; i < pushes; ++i) {
    const double share = rng.uniform(0.5, 1.5);
    const double pause = rng.uniform(0.05, 0.45);
    total += share;
    done += share * ease((i + pause * 0.5) / pushes, (i + 1.0 - pause * 0.5) / pushes, f);
  }
  return done / total;
}

// 0 before and after, 1 in between, with short slopes inside the stretch.
double between(const Event& event, double slope_s, double t_s) {
  const double slope = std::min(slope_s, 0.5 * event.seconds);
  return ease(event.at_s, event.at_s + slope, t_s) -
         ease(event.at_s + event.seconds - slope, event.at_s + event.seconds, t_s);
}

}  // namespace

LensAxes lens_axes(const LensState& state, const Lens& lens, const Surfaces& surfaces) {
  LensAxes axes;
  // The lens's plane is z = tilt_y x - tilt_x y for small tilts about x and y.
  axes.normal =
      Eigen::Vector3d(-std::tan(lens.tilt_rad[1]), std::tan(lens.tilt_rad[0]), 1.0).normalized();
  Eigen::Vector3d along(std::cos(state.axis_rad), std::sin(state.axis_rad), 0.0);
  along.z() = -(axes.normal.x() * along.x() + axes.normal.y() * along.y()) / axes.normal.z();
  axes.along = along.normalized();
  axes.across = axes.normal.cross(axes.along);
  axes.centre = Eigen::Vector3d(state.x_mm, state.y_mm, surfaces.lens_z);
  return axes;
}

History::History(const Scene& scene) : scene_(scene), key_(key_of(scene.seed, 0x6d6f74)) {
  Rng rng(mix(key_ + 77));
  const Motion& m = scene.motion;
  const double expected = m.torsion_jumps_per_s * scene.seconds;
  const int count = static_cast<int>(std::floor(expected + rng.uniform()));
  for (int i = 0; i < count; ++i)
    jumps_.push_back({rng.uniform(0.3, std::max(0.4, scene.seconds - 0.5)),
                      m.torsion_jump_rad * rng.normal(), 0.25 * rng.normal(), 0.25 * rng.normal(),
                      0.6 * m.tilt_wander_rad * rng.normal(),
                      0.6 * m.tilt_wander_rad * rng.normal()});
}

std::vector<ToolState> History::tools(double t_s) const {
  std::vector<ToolState> all_tools;
  for (const Step& step : scene_.steps) {
    if (step.tool == Tool::None || step.act == Act::Settle) continue;
    const double come = 0.5;
    const double f = ease(step.at_s - come, step.at_s - 0.05, t_s) *
                     (1.0 - ease(step.at_s + step.seconds, step.at_s + step.seconds + come, t_s));
    if (f <= 0.0) continue;
    ToolState tool;
    tool.tool = step.tool;
    tool.presence = f;
    const bool wide =
        step.tool == Tool::Injector || step.tool == Tool::Aspirator || step.tool == Tool::Forceps;
    tool.port_rad = wide ? scene_.clutter.incision_rad : scene_.clutter.side_port_rad;
    const std::uint64_t key = mix(key_ + static_cast<std::uint64_t>(step.at_s * 1000.0));
    double x = 0.9 * wander(key, 0.7 * t_s);
    double y = 0.9 * wander(mix(key), 0.7 * t_s);
    if (step.act == Act::Turn) {
      // Leans on the optic's rim or haptic junction and goes round with it.
      const double a = lens(t_s).axis_rad + pi * 0.5 + tool.port_rad * 0.15;
      const double side = std::cos(a - tool.port_rad) > 0 ? 1.0 : -1.0;
      x = 2.2 * side * std::cos(a) + 0.1 * x;
      y = 2.2 * side * std::sin(a) + 0.1 * y;
    } else if (step.act == Act::Insert || step.act == Act::Remove) {
      const double reach = step.tool == Tool::Injector ? 4.6 : 1.5;
      x = reach * std::cos(tool.port_rad) + 0.15 * x;
      y = reach * std::sin(tool.port_rad) + 0.15 * y;
    } else if (step.over_mark) {
      const LensState held = lens(t_s);
      const double side = std::cos(held.axis_rad - tool.port_rad) > 0 ? 1.0 : -1.0;
      const double mark = scene_.lens.mark_radius_mm - 0.25;
      // The tip reaches past the mark, seen from the incision, so that the rod lies over it.
      const double mx = held.x_mm + side * mark * std::cos(held.axis_rad);
      const double my = held.y_mm + side * mark * std::sin(held.axis_rad);
      const double dx = mx - 5.5 * std::cos(tool.port_rad);
      const double dy = my - 5.5 * std::sin(tool.port_rad);
      const double past = 0.8 / std::hypot(dx, dy);
      x = mx + past * dx + 0.12 * x;
      y = my + past * dy + 0.12 * y;
    } else if (step.tool == Tool::Aspirator) {
      x *= 2.0;
      y *= 2.0;
    }
    const double out = 9.5;
    tool.tip_x_mm = f * x + (1.0 - f) * out * std::cos(tool.port_rad);
    tool.tip_y_mm = f * y + (1.0 - f) * out * std::sin(tool.port_rad);
    tool.push = f * (0.5 + 0.5 * wander(mix(key + 9), 1.3 * t_s));
    all_tools.push_back(tool);
  }
  return all_tools;
}

Pose History::pose(double t_s) const {
  const Motion& m = scene_.motion;
  Pose p;
  const auto noise = [&](unsigned k, double rate) { return wander(mix(key_ + k), rate * t_s); };
  p.torsion_rad = m.torsion_rad + m.torsion_wander_rad * noise(1, 0.35);
  constexpr double sweep = 0.105;  // 6 degrees
  p.torsion_rad += sweep * std::sin(m.sweep_rad_s / sweep * t_s);
  p.tilt_x_rad = m.tilt_rad[0] + m.tilt_wander_rad * noise(2, 0.3);
  p.tilt_y_rad = m.tilt_rad[1] + m.tilt_wander_rad * noise(3, 0.3);
  p.shift_x_mm = m.shift_wander_mm * noise(4, 0.25);
  p.shift_y_mm = m.shift_wander_mm * noise(5, 0.25);
  for (const Jump& j : jumps_) {
    const double f = ease(j.at_s, j.at_s + 0.18, t_s) - 0.6 * ease(j.at_s + 0.4, j.at_s + 1.6, t_s);
    p.torsion_rad += f * j.torsion_rad;
    p.shift_x_mm += f * j.x_mm;
    p.shift_y_mm += f * j.y_mm;
    p.tilt_x_rad += f * j.tilt_x_rad;
    p.tilt_y_rad += f * j.tilt_y_rad;
  }
  for (const Event& e : scene_.events) {
    if (e.what != Happening::Jump) continue;
    const double f = ease(e.at_s, e.at_s + e.seconds, t_s);
    p.torsion_rad += f * e.turn_rad;
    p.shift_x_mm += f * e.shift_mm[0];
    p.shift_y_mm += f * e.shift_mm[1];
  }
  for (const ToolState& tool : tools(t_s)) {
    const double push = m.tool_push * tool.push * tool.presence;
    const double along = 0.35 * noise(11, 1.1);
    p.shift_x_mm += push * (along * std::cos(tool.port_rad) + 0.2 * noise(12, 0.9));
    p.shift_y_mm += push * (along * std::sin(tool.port_rad) + 0.2 * noise(13, 0.9));
    p.tilt_x_rad += push * 0.02 * noise(14, 0.8);
    p.tilt_y_rad += push * 0.02 * noise(15, 0.8);
    p.torsion_rad += push * m.torsion_jump_rad * noise(16, 0.9);
  }
  const double beat = 2.0 * pi * m.pulse_hz * t_s;
  const double pulse = std::sin(beat) + 0.4 * std::sin(2.0 * beat + 0.7);
  p.shift_x_mm += 0.5 * m.pulse_mm * pulse;
  p.shift_y_mm += m.pulse_mm * pulse;
  return p;
}

double History::axis_at(double t_s, bool previous) const {
  double axis = previous ? scene_.previous_axis_rad : 0.0;
  bool ours = previous;
  for (std::size_t i = 0; i < scene_.steps.size(); ++i) {
    const Step& step = scene_.steps[i];
    if (step.act == Act::Insert) {
      if (previous) break;
      ours = true;
      Rng rng(mix(key_ + 31 * i));
      const double swing = rng.uniform(0.08, 0.2) * (rng.chance(0.5) ? 1.0 : -1.0);
      axis = step.axis_rad + swing * (1.0 - ease(step.at_s, step.at_s + step.seconds, t_s));
    } else if (ours && (step.act == Act::Turn || step.act == Act::Settle) && t_s > step.at_s) {
      axis += (step.axis_rad - axis) * pushed(step, mix(key_ + 57 * i), t_s);
    }
  }
  return axis;
}

LensState History::lens(double t_s) const {
  LensState s;
  const auto place = [&](double radius) {
    s.x_mm = radius * std::cos(scene_.clutter.incision_rad);
    s.y_mm = radius * std::sin(scene_.clutter.incision_rad);
  };
  constexpr double outside = 10.5;
  s.drawn = s.previous = scene_.has_previous;
  for (const Step& step : scene_.steps) {
    const double f = std::clamp((t_s - step.at_s) / step.seconds, 0.0, 1.0);
    if (step.act == Act::Remove && t_s >= step.at_s) {
      s.unfolded = 1.0 - 0.6 * ease(0.0, 0.5, f);
      place(outside * ease(0.25, 1.0, f));
      s.drawn = f < 1.0;
      s.moving = true;
    }
    if (step.act == Act::Insert && t_s >= step.at_s) {
      s.drawn = true;
      s.previous = false;
      place(outside * (1.0 - ease(0.0, 0.55, f)));
      s.unfolded = 0.3 + 0.7 * ease(0.45, 1.0, f);
      s.moving = f < 1.0;
    }
  }
  const Surfaces surfaces = surfaces_of(scene_.eye);
  s.in_eye = s.drawn && std::hypot(s.x_mm, s.y_mm) < surfaces.limbus_mean_mm;
  s.axis_rad = axis_at(t_s, s.previous);
  constexpr double step = 0.02;
  s.speed_rad_s = (axis_at(t_s + step, s.previous) - axis_at(t_s - step, s.previous)) / (2 * step);
  s.moving = s.moving || std::abs(s.speed_rad_s) > 0.0087;  // half a degree a second
  const auto& decentre = s.previous ? scene_.previous.decentre_mm : scene_.lens.decentre_mm;
  s.x_mm += decentre[0];
  s.y_mm += decentre[1];
  return s;
}

double History::defocus_mm(double t_s) const {
  const Microscope& m = scene_.microscope;
  double defocus = m.defocus_mm + m.defocus_wander_mm * wander(mix(key_ + 21), 0.3 * t_s);
  for (const Event& e : scene_.events)
    if (e.what == Happening::Refocus) defocus += e.defocus_mm * between(e, 0.5 * e.seconds, t_s);
  return std::abs(defocus);
}

double History::light(double t_s) const {
  double light = 1.0;
  for (const Event& e : scene_.events)
    if (e.what == Happening::Lamp) light *= 1.0 + (e.factor - 1.0) * between(e, 0.06, t_s);
  return light;
}

double History::zoom(double t_s) const {
  double zoom = 1.0;
  for (const Event& e : scene_.events)
    if (e.what == Happening::Zoom)
      zoom *= 1.0 + (e.factor - 1.0) * ease(e.at_s, e.at_s + e.seconds, t_s);
  return zoom;
}

Eigen::Vector2d History::head_mm(double t_s) const {
  Eigen::Vector2d at = Eigen::Vector2d::Zero();
  for (const Event& e : scene_.events)
    if (e.what == Happening::Leave)
      at += between(e, 0.25, t_s) * Eigen::Vector2d(e.shift_mm[0], e.shift_mm[1]);
  return at;
}

double History::gain(double t_s) const {
  return 1.0 + scene_.microscope.gain_wander * wander(mix(key_ + 22), 0.5 * t_s);
}

double History::washed_out(double t_s) const {
  double out = scene_.has_lens || scene_.has_previous ? 0.0 : 0.5;
  for (const Step& step : scene_.steps)
    if (step.tool == Tool::Aspirator)
      out = std::max(out, ease(step.at_s, step.at_s + step.seconds, t_s));
  return out;
}

}  // namespace rhumb::render
