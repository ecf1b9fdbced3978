#include "render/stage.h"

#include <cmath>
#include <future>
#include <numbers>

#include "render/rng.h"

namespace rhumb::render {

Stage::Stage(const Scene& scene)
    : scene_(scene), history_(scene), surfaces_(surfaces_of(scene.eye)) {
  double zoom = 1.0;  // the planes are painted for the closest look
  double most = 1.0;
  for (const Event& e : scene.events)
    if (e.what == Happening::Zoom) most = std::max(most, zoom *= e.factor);
  const double per_mm = texel_density(most * scene.camera.width / scene.microscope.field_mm);
  // The planes know nothing of each other: they are painted side by side.
  const auto aside = [](auto paint) { return std::async(std::launch::async, paint); };
  auto sclera =
      aside([&] { return paint_sclera(scene, surfaces_, std::min(0.88 * per_mm, 75.0)); });
  auto wet = aside([&] { return paint_wetness(scene, surfaces_, std::min(0.88 * per_mm, 75.0)); });
  auto iris = aside([&] { return paint_iris(scene, per_mm); });
  auto surround = aside([&] { return paint_surround(scene, per_mm); });
  capsule_ = paint_capsule(scene, 0.7 * per_mm);
  if (scene.has_lens) lens_ = paint_lens(scene.lens, 1.2 * per_mm, key_of(scene.seed, 501));
  if (scene.has_previous)
    previous_ = paint_lens(scene.previous, 1.2 * per_mm, key_of(scene.seed, 502));
  sclera_ = sclera.get();
  wet_ = wet.get();
  iris_ = iris.get();
  surround_ = surround.get();
}

Instant Stage::at(double time_s) const {
  const Pose pose = history_.pose(time_s);
  const double done = std::clamp(time_s / scene_.seconds, 0.0, 1.0);
  Microscope microscope = scene_.microscope;
  microscope.field_mm /= history_.zoom(time_s);
  const Eigen::Vector2d head = history_.head_mm(time_s);
  microscope.centre_mm[0] -= head.x();
  microscope.centre_mm[1] -= head.y();
  Instant now{View(surfaces_, pose, microscope, scene_.camera.width, scene_.camera.height), pose,
              history_.lens(time_s), history_.tools(time_s)};
  // The lamp hangs on the microscope: where its axis meets the scene.
  now.beam_mm = -(now.view.scene_from_picture() * now.view.px_per_mm() * head);
  now.time_s = time_s;
  now.ink_left = 1.0 - scene_.ink.fade * done;
  now.washed_out = history_.washed_out(time_s);
  now.pupil_scale = 1.0 - scene_.eye.pupil_shrink_mm * done / scene_.eye.pupil_mm;
  return now;
}

// What stays the same over a picture, as single-precision numbers for the pixel loop.
struct Stage::Row {
  float step_x[3], step_y[3], base[3];  // line of sight's start: base + x step_x + y step_y, eye mm
  float sight[3];                       // its direction
  float circle[3];  // symmetric matrix that makes the limbus a circle: xx, xy, yy
  float lens_u[3], lens_v[3], lens_n[3];  // lens axes in the eye
  float lens_c[3];
  float squeeze;      // of a lens that is not unfolded
  float patch[2];     // centre of the reflex's bright part
  float crescent[2];  // direction of its dark part
  float lamp[2];      // where the lamp stands, seen from the eye's edges
  float eta, soft, limbus;
  float schlieren;
  bool lens_shown;
};

Vec4 Stage::lamp_light(Vec4 x, Vec4 y) const {
  const Microscope& m = scene_.microscope;
  // A round beam, even over the cornea, at half outside it and all but gone over the drape.
  const Vec4 r2 = (x * x + y * y) * (1.0F / 112.0F);
  const Vec4 q = r2 * r2 * r2;
  Vec4 light = 1.06F - static_cast<float>(m.vignette) * 1.06F * q / (0.9F + q);
  if (m.light == Light::Retro) light *= 0.14F;
  if (m.light == Light::Slit) {
    const float half = 0.5F * static_cast<float>(m.slit_mm);
    const Vec4 from = x - 0.8F;
    const Vec4 off = from < 0.0F ? -from : from;
    light *= 0.10F + 0.95F * within((half - off) * 4.0F, 0.0F, 1.0F);
  }
  return light;
}

namespace {

float smoothstep(float x) {
  const float f = std::clamp(x, 0.0F, 1.0F);
  return f * f * (3.0F - 2.0F * f);
}

Vec4 absorb(const Vec4& light, const Vec4& strength, float density) {
  if (density <= 1e-4F) return light;
  Vec4 out = light;
  for (int k = 0; k < 3; ++k) out[k] *= std::exp(-strength[k] * density);
  return out;
}

const Vec4 ink_absorbs{1.55F, 2.30F, 0.62F, 0.0F};  // violet dye
const Vec4 blood_absorbs{0.45F, 2.60F, 2.50F, 0.0F};

}  // namespace

// Four neighbours' lines of sight on the outer surface; a lane each.
struct Stage::Four {
  Vec4 eye[3];      // start of the line of sight, eye mm
  Vec4 nx, ny, nz;  // outward normal of the sclera's sphere
  Vec4 out_mm;      // beyond the limbus
  Vec4 white;       // 0 cornea, 1 sclera
  Vec4 facing, rim, map_x, map_y;
  Vec4 root;  // not above 0 where the line misses the globe
  // Of the cornea, where any of the four shows it: the point met, the sight's direction behind it,
  // and where that meets the plane of the iris.
  Vec4 cornea[3], inside[3];
  Vec4 iris_x, iris_y;
};

Vec4 Stage::inside_light(const Instant& now, const Row& row, const Four& four, int lane,
                         float light) const {
  const float hx = four.cornea[0][lane];
  const float hy = four.cornea[1][lane];
  const float pz = four.cornea[2][lane];
  const float rx = four.inside[0][lane];
  const float ry = four.inside[1][lane];
  const float rz = four.inside[2][lane];
  // Viscoelastic fills the chamber in front of iris and lens, bends the rays on their way to either
  // and casts faint bright and dark streaks.
  float bent_x = 0.0F;
  float bent_y = 0.0F;
  float bend = 1.0F;
  if (row.schlieren > 0.0F) {
    const Vec4 wave = capsule_.at(0.8F * hy + 1.0F, 0.8F * hx - 0.6F);
    const Vec4 other = capsule_.at(-0.7F * hx, 0.7F * hy + 1.3F);
    bent_x = row.schlieren * wave[3];
    bent_y = row.schlieren * other[3];
    bend += 4.0F * row.schlieren * (wave[3] - other[3]);
  }
  const float ix = four.iris_x[lane] + bent_x;
  const float iy = four.iris_y[lane] + bent_y;

  // A pupil that has changed size: the iris stretches between its edge and its root.
  float tx = ix;
  float ty = iy;
  const auto scale = static_cast<float>(now.pupil_scale);
  if (scale < 0.9999F) {
    const auto px = static_cast<float>(scene_.eye.pupil_shift_mm[0]);
    const auto py = static_cast<float>(scene_.eye.pupil_shift_mm[1]);
    const float r = std::sqrt((ix - px) * (ix - px) + (iy - py) * (iy - py)) + 1e-6F;
    const auto was = static_cast<float>(0.5 * scene_.eye.pupil_mm);
    const float edge = was * scale;
    const float root_mm = 6.3F;
    const float to = r < edge ? r / scale : was + (r - edge) * (root_mm - was) / (root_mm - edge);
    tx = px + (ix - px) * to / r;
    ty = py + (iy - py) * to / r;
  }
  const Vec4 iris = iris_.at(tx, ty);
  Vec4 out = iris * light * 0.66F;
  if (iris[3] < 0.999F) {
    // Where the line of sight meets the lens.
    const float* n = row.lens_n;
    const float* c = row.lens_c;
    const float s_lens = (n[0] * (c[0] - hx) + n[1] * (c[1] - hy) + n[2] * (c[2] - pz)) /
                         (n[0] * rx + n[1] * ry + n[2] * rz);
    // The further behind the cornea, the further beside.
    const float deeper = s_lens * rz / (static_cast<float>(surfaces_.iris_z) - pz);
    const float qx = hx + s_lens * rx + deeper * bent_x;
    const float qy = hy + s_lens * ry + deeper * bent_y;
    const float qz = pz + s_lens * rz;
    const Vec4 capsule = capsule_.at(qx, qy);
    const Reflex& reflex = scene_.reflex;
    const float gx = qx - row.patch[0];
    const float gy = qy - row.patch[1];
    const auto size = static_cast<float>(reflex.patch_mm);
    // A bell without an exponential: it is asked for at every point of the pupil.
    const float out2 = 1.0F + (gx * gx + gy * gy) / (8.0F * size * size);
    const float patch = 1.0F / (out2 * out2 * out2 * out2);
    const auto flat = static_cast<float>(reflex.flat);
    const float across = row.crescent[0] * qx + row.crescent[1] * qy;
    const float fall =
        1.0F - static_cast<float>(reflex.crescent) * smoothstep((across + 3.2F) / 5.0F);
    const float speckle = 1.0F + 0.28F * static_cast<float>(reflex.cortex) * capsule[3];
    float retro = static_cast<float>(reflex.brightness) * (flat + (1.0F - flat) * patch) * fall *
                  speckle * bend;
    float through = capsule[0];
    float scatter = capsule[1] + static_cast<float>(reflex.haze);
    float edge = capsule[2];
    if (row.lens_shown) {
      const float ax = qx - c[0];
      const float ay = qy - c[1];
      const float az = qz - c[2];
      const float u = ax * row.lens_u[0] + ay * row.lens_u[1] + az * row.lens_u[2];
      float v = ax * row.lens_v[0] + ay * row.lens_v[1] + az * row.lens_v[2];
      if (row.squeeze < 0.999F) {
        const float rolled = v / row.squeeze;
        const float tight = 1.0F - row.squeeze;
        v = rolled * (1.0F + 0.02F * tight * rolled * rolled);
        const float flank = std::exp(-std::pow((std::abs(v) - 2.2F) / 0.5F, 2.0F));
        through *= 1.0F - 0.45F * tight * flank;
        scatter += 0.05F * tight * flank * (std::abs(u) < 3.0F ? 1.0F : 0.0F);
      }
      const Vec4 lens = (now.lens.previous ? previous_ : lens_).at(u, v);
      through *= lens[0];
      scatter += lens[1];
      const float r = std::sqrt(ax * ax + ay * ay) + 1e-4F;
      // An edge catches the lamp on the side that faces it.
      const float facing = (ax * row.lamp[0] + ay * row.lamp[1]) / r;
      const float towards = std::max(0.0F, facing) * std::max(0.0F, facing);
      edge += lens[2] * (0.06F + 0.5F * towards * towards * towards);
    }
    Vec4 back{static_cast<float>(reflex.colour[0]), static_cast<float>(reflex.colour[1]),
              static_cast<float>(reflex.colour[2]), 0.0F};
    // A brighter reflex is yellower, as its deeper-going red part saturates first.
    back[1] *= 0.55F + 0.75F * patch * fall;
    back[2] *= 0.7F + 0.5F * (1.0F - fall);
    Vec4 inner = back * (retro * through);
    inner += Vec4{0.95F, 0.98F, 1.0F, 0.0F} * (light * (scatter + 0.25F * edge));
    // Bits of the iris's own shadow at its rim.
    const float open = 1.0F - iris[3];
    out += (inner - out) * open;
  }
  // A veil of light scattered by the cornea itself.
  const float rim2 = (hx * hx + hy * hy) / (row.limbus * row.limbus);
  return out + Vec4{0.92F, 0.98F, 1.0F, 0.0F} * (light * (0.006F + 0.022F * rim2 * rim2 * rim2));
}

Stage::Four Stage::meet(const Row& row, Vec4 sx, Vec4 sy) const {
  Four f;
  for (int k = 0; k < 3; ++k) f.eye[k] = row.base[k] + sx * row.step_x[k] + sy * row.step_y[k];
  const float* d = row.sight;
  // Sclera, in coordinates in which its limbus is a circle.
  const Vec4 ox = row.circle[0] * f.eye[0] + row.circle[1] * f.eye[1];
  const Vec4 oy = row.circle[1] * f.eye[0] + row.circle[2] * f.eye[1];
  const Vec4 oz = f.eye[2] - static_cast<float>(surfaces_.sclera_centre_z);
  const float dx = row.circle[0] * d[0] + row.circle[1] * d[1];
  const float dy = row.circle[1] * d[0] + row.circle[2] * d[1];
  const float dz = d[2];
  const auto radius = static_cast<float>(surfaces_.sclera_radius_mm);
  const float a = dx * dx + dy * dy + dz * dz;
  const Vec4 b = ox * dx + oy * dy + oz * dz;
  const Vec4 c = ox * ox + oy * oy + oz * oz - radius * radius;
  f.root = b * b - a * c;
  const Vec4 t = (-b - root(within(f.root, 0.0F, 1e9F))) * (1.0F / a);
  const float inv = 1.0F / radius;
  f.nx = (ox + t * dx) * inv;
  f.ny = (oy + t * dy) * inv;
  f.nz = (oz + t * dz) * inv;
  const Vec4 across2 = f.nx * f.nx + f.ny * f.ny;
  f.out_mm = radius * root(across2) - row.limbus;
  // The transition is broader above and below, where the lids' side of the sclera overlaps the
  // cornea.
  const Vec4 steep = f.ny * f.ny / (across2 + 1e-6F);
  const Vec4 wide = (row.soft / 0.61F) * (0.85F + 0.3F * steep);
  f.white = smoothstep(0.5F + f.out_mm / wide);
  f.facing = within(-(d[0] * f.nx + d[1] * f.ny + d[2] * f.nz), 0.0F, 1.0F);
  f.rim = smoothstep((0.32F - f.nz) * (1.0F / 0.22F));
  const Vec4 fold = 2.0F * radius / (1.0F + f.nz);
  f.map_x = fold * f.nx;
  f.map_y = fold * f.ny;
  if (least(f.white) < 1.0F) refract(row, f);
  return f;
}

// Snell's law at the cornea's sphere, in vector form, and on to the plane of the iris.
void Stage::refract(const Row& row, Four& f) const {
  const float* d = row.sight;
  const auto radius = static_cast<float>(surfaces_.cornea_radius_mm);
  const auto cz = static_cast<float>(surfaces_.cornea_centre_z);
  const Vec4 fz = f.eye[2] - cz;
  const Vec4 b = f.eye[0] * d[0] + f.eye[1] * d[1] + fz * d[2];
  const Vec4 from2 = f.eye[0] * f.eye[0] + f.eye[1] * f.eye[1] + fz * fz;
  const Vec4 t = -b - root(within(b * b - from2 + radius * radius, 0.0F, 1e9F));
  const float inv = 1.0F / radius;
  const Vec4 hx = f.eye[0] + t * d[0];
  const Vec4 hy = f.eye[1] + t * d[1];
  const Vec4 hz = fz + t * d[2];
  const Vec4 cosine = -(d[0] * hx + d[1] * hy + d[2] * hz) * inv;
  const Vec4 sine2 = row.eta * row.eta * (1.0F - cosine * cosine);
  const Vec4 k = (row.eta * cosine - root(within(1.0F - sine2, 0.0F, 1e9F))) * inv;
  f.cornea[0] = hx;
  f.cornea[1] = hy;
  f.cornea[2] = hz + cz;
  f.inside[0] = row.eta * d[0] + k * hx;
  f.inside[1] = row.eta * d[1] + k * hy;
  f.inside[2] = row.eta * d[2] + k * hz;
  const Vec4 reach = (static_cast<float>(surfaces_.iris_z) - f.cornea[2]) / f.inside[2];
  f.iris_x = hx + reach * f.inside[0];
  f.iris_y = hy + reach * f.inside[1];
}

Vec4 Stage::eye_light(const Instant& now, const Row& row, const Four& f, int lane,
                      float light) const {
  // Beyond the globe's edge lies the flesh of the lids' corners.
  const Vec4 flesh = vec(0.21F, 0.065F, 0.050F) * light;
  if (f.root[lane] <= 0.0F || f.nz[lane] < 0.05F) return flesh;
  const float white = f.white[lane];
  Vec4 colour{};
  if (white < 1.0F) colour = inside_light(now, row, f, lane, light);
  if (f.out_mm[lane] <= -3.2F) return colour;
  const Vec4 surface = sclera_.at(f.map_x[lane], f.map_y[lane]);
  const Vec4 wet = wet_.at(f.map_x[lane], f.map_y[lane]);
  if (white > 0.0F) {
    const float facing = f.facing[lane];
    const float shade = 0.30F + 0.70F * facing * facing;
    Vec4 sclera = surface * (light * shade);
    sclera += (flesh - sclera) * f.rim[lane];
    // Fluid on the folds mirrors the lamp where it happens to face it.
    const float vx = f.nx[lane] + row.sight[0] - 0.75F * wet[0];
    const float vy = f.ny[lane] + row.sight[1] - 0.75F * wet[1];
    const float off = (vx * vx + vy * vy) * 150.0F;
    if (off < 8.0F)
      sclera += all(static_cast<float>(scene_.clutter.tear_shine) * 1.6F * light * std::exp(-off));
    colour += (sclera - colour) * white;
  }
  if (wet[3] > 0.001F) colour += (all(0.50F) * light - colour) * std::min(0.7F, wet[3]);
  colour = absorb(colour, ink_absorbs, surface[3] * static_cast<float>(now.ink_left));
  return absorb(colour, blood_absorbs, wet[2]);
}

void Stage::shade(const Instant& now, int y0, int y1, int x0, int x1, Vec4* rows) const {
  const View& view = now.view;
  Row row{};
  const Eigen::Matrix2d scene_from_picture = view.scene_from_picture();
  const Eigen::Vector3d base = view.sight_origin(Eigen::Vector2d::Zero());
  const Eigen::Vector3d right = view.sight_origin(Eigen::Vector2d::UnitX()) - base;
  const Eigen::Vector3d up = view.sight_origin(Eigen::Vector2d::UnitY()) - base;
  const Eigen::Vector3d sight = view.sight_direction();
  for (int k = 0; k < 3; ++k) {
    row.base[k] = static_cast<float>(base[k]);
    row.step_x[k] = static_cast<float>(right[k]);
    row.step_y[k] = static_cast<float>(up[k]);
    row.sight[k] = static_cast<float>(sight[k]);
  }
  const Eigen::Matrix2d circle = circle_from_eye(surfaces_);
  row.circle[0] = static_cast<float>(circle(0, 0));
  row.circle[1] = static_cast<float>(circle(0, 1));
  row.circle[2] = static_cast<float>(circle(1, 1));
  row.eta = static_cast<float>(1.0 / surfaces_.refractive_index);
  row.soft = static_cast<float>(scene_.eye.limbus_soft_mm);
  row.limbus = static_cast<float>(surfaces_.limbus_mean_mm);
  row.schlieren = static_cast<float>(scene_.clutter.viscoelastic_mm * (1.0 - now.washed_out));
  row.lens_shown = now.lens.drawn;
  const auto axes =
      lens_axes(now.lens, now.lens.previous ? scene_.previous : scene_.lens, surfaces_);
  for (int k = 0; k < 3; ++k) {
    row.lens_u[k] = static_cast<float>(axes.along[k]);
    row.lens_v[k] = static_cast<float>(axes.across[k]);
    row.lens_n[k] = static_cast<float>(axes.normal[k]);
    row.lens_c[k] = static_cast<float>(axes.centre[k]);
  }
  row.squeeze = static_cast<float>(now.lens.unfolded);
  row.patch[0] = static_cast<float>(-18.0 * now.pose.tilt_y_rad + 0.5);
  row.patch[1] = static_cast<float>(18.0 * now.pose.tilt_x_rad + 0.6);
  Rng rng(key_of(scene_.seed, 520));
  const double dark = rng.uniform(0.0, 2.0 * std::numbers::pi);
  row.crescent[0] = static_cast<float>(std::cos(dark));
  row.crescent[1] = static_cast<float>(std::sin(dark));
  const double lamp = rng.uniform(0.0, 2.0 * std::numbers::pi);
  row.lamp[0] = static_cast<float>(std::cos(lamp));
  row.lamp[1] = static_cast<float>(std::sin(lamp));

  const int width = scene_.camera.width;
  const Eigen::Vector2d start = view.scene_from_picture(Eigen::Vector2d::Zero());
  const auto ax = static_cast<float>(scene_from_picture(0, 0));
  const auto ay = static_cast<float>(scene_from_picture(1, 0));
  const auto beam_x = static_cast<float>(now.beam_mm.x());
  const auto beam_y = static_cast<float>(now.beam_mm.y());
  const auto field2 = static_cast<float>(std::pow(0.5 * scene_.microscope.field_edge_mm, 2.0));
  for (int y = y0; y < y1; ++y) {
    Vec4* out = rows + static_cast<std::ptrdiff_t>(y - y0) * width;
    const auto sx0 = static_cast<float>(start.x() + y * scene_from_picture(0, 1));
    const auto sy0 = static_cast<float>(start.y() + y * scene_from_picture(1, 1));
    for (int x = x0; x < x1; x += 4) {
      const auto step = static_cast<float>(x) + Vec4{0.0F, 1.0F, 2.0F, 3.0F};
      const Vec4 sx = sx0 + step * ax;
      const Vec4 sy = sy0 + step * ay;
      const Vec4 r2 = sx * sx + sy * sy;
      const Vec4 light = lamp_light(sx - beam_x, sy - beam_y);
      const Vec4 field_r2 = (sx - beam_x) * (sx - beam_x) + (sy - beam_y) * (sy - beam_y);
      const Vec4 field =
          field2 > 0.0F ? smoothstep((1.02F * field2 - field_r2) * (20.0F / field2)) : all(1.0F);
      Vec4 around[4]{};
      bool seen = false;
      for (int k = 0; k < 4; ++k) {
        if (r2[k] > 20.0F && field[k] > 0.0F) around[k] = surround_.at(sx[k], sy[k]);
        seen = seen || (around[k][3] < 0.998F && field[k] > 0.0F);
      }
      Four four;
      if (seen) four = meet(row, sx, sy);
      for (int k = 0; k < 4 && x + k < x1; ++k) {
        Vec4 colour{};
        if (around[k][3] < 0.998F && field[k] > 0.0F)
          colour = eye_light(now, row, four, k, light[k]) * (1.0F - around[k][3]);
        out[x + k] = (colour + around[k] * light[k]) * field[k];
      }
    }
  }
  draw_bubbles(now, y0, y1, rows);
  draw_tools(now, y0, y1, rows);
  draw_glints(now, y0, y1, rows);
}

double Stage::iris_cover(const Instant& now, double x_mm, double y_mm) const {
  const double px = scene_.eye.pupil_shift_mm[0];
  const double py = scene_.eye.pupil_shift_mm[1];
  // Inside the pupil the painted one is only stretched; that is all that readability needs.
  const double s = now.pupil_scale;
  return static_cast<double>(iris_.at(static_cast<float>(px + (x_mm - px) / s),
                                      static_cast<float>(py + (y_mm - py) / s))[3]);
}

double Stage::surround_cover(double x, double y) const {
  return static_cast<double>(surround_.at(static_cast<float>(x), static_cast<float>(y))[3]);
}

}  // namespace rhumb::render
