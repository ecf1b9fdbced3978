#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "render/paint.h"
#include "render/rng.h"
#include "render/wire.h"

namespace rhumb::render {
namespace {

constexpr double pi = std::numbers::pi;

struct Opening {
  double half_width, upper, lower, sharp;
};

// Lid edge above (y > 0) or below at x: the palpebral opening.
double lid_height(const Opening& o, bool upper, double x) {
  const double f = std::clamp(1.0 - std::pow(std::abs(x) / o.half_width, o.sharp), -1.0, 1.0);
  return (upper ? o.upper : o.lower) * (f >= 0 ? std::pow(f, 0.75) : f);
}

Vec4 drape_colour(const std::string& drape) {
  if (drape == "blue") return vec(0.030F, 0.075F, 0.130F);
  if (drape == "grey") return vec(0.085F, 0.090F, 0.095F);
  return vec(0.022F, 0.072F, 0.052F);
}

struct Fields {
  cv::Mat folds, pores, stain, wet, ragged, film;
};

Fields fields_of(const Scene& scene, const Texture& t) {
  const cv::Size size(t.width(), t.height());
  const double mm = t.per_mm();
  const auto key = [&](unsigned n) { return key_of(scene.seed, 400 + n); };
  return {cloud(size, {10 * mm, 7 * mm, 4, 0.45}, key(1)),
          cloud(size, {0.7 * mm, 0.7 * mm, 5, 0.7}, key(2)),
          cloud(size, {6 * mm, 6 * mm, 4, 0.5}, key(3)),
          cloud(size, {1.6 * mm, 1.2 * mm, 4, 0.5}, key(4)),
          cloud(size, {2.2 * mm, 2.2 * mm, 4, 0.5}, key(5)),
          cloud(size, {4.5 * mm, 1.8 * mm, 3, 0.42}, key(6))};
}

// Cloth folds seen by their slopes towards the light.
float fold_light(const cv::Mat& folds, int y, int x, double per_mm) {
  const int step = std::max(1, static_cast<int>(per_mm * 0.25));
  const int x1 = std::min(folds.cols - 1, x + step);
  const int y1 = std::min(folds.rows - 1, y + step);
  const float gx =
      (folds.at<float>(y, x1) - folds.at<float>(y, x)) * static_cast<float>(per_mm / step);
  const float gy =
      (folds.at<float>(y1, x) - folds.at<float>(y, x)) * static_cast<float>(per_mm / step);
  return 0.8F + 1.9F * gx + 1.4F * gy;
}

// A lid holder of bent wire: at each lid two legs come over the skin and hook under its margin.
void wires(const Scene& scene, Texture& t, const Opening& o) {
  Rng rng(key_of(scene.seed, 420));
  for (const bool upper : {true, false}) {
    const double sign = upper ? 1.0 : -1.0;
    const double spread = rng.uniform(4.2, 5.6);
    const double shift = rng.uniform(-0.8, 0.8);
    const double lean = rng.uniform(-0.10, 0.10);
    for (const double side : {-1.0, 1.0}) {
      const double x0 = shift + side * spread;
      const double edge = std::abs(lid_height(o, upper, x0));
      std::vector<Point> points;
      std::vector<double> widths;
      const auto add = [&](double x, double out_mm, double half_mm) {
        points.push_back({t.column(x), t.row(sign * (edge + out_mm))});
        widths.push_back(half_mm * t.per_mm());
      };
      // Under the lid it turns towards its fellow; outwards the legs draw together.
      add(x0 - side * 1.5, -0.55, 0.16);
      for (double s = 0.0; s <= 1.0; s += 0.2)
        add(x0 - side * 1.5 * (1.0 - std::sin(0.5 * pi * s)),
            -0.55 + 0.75 * (1.0 - std::cos(0.5 * pi * s)), 0.20 + 0.05 * s);
      add(x0 + 1.2 * lean, 2.2, 0.26);
      add(x0 + 6.0 * lean - 0.3 * side, 7.0, 0.27);
      add(x0 + 14.0 * lean - 1.2 * side, 16.0, 0.28);
      std::vector<Point> shadow = points;
      for (Point& p : shadow) p = {p.x + 0.35 * t.per_mm(), p.y - 0.35 * t.per_mm()};
      std::vector<double> wide = widths;
      for (double& w : wide) w *= 1.7;
      trace_rod(shadow, wide, t.width(), 0, t.height(),
                [&](int x, int y, float across, float, float cover) {
                  const float dark = 0.5F * cover * (1.0F - across * across);
                  Vec4& texel = t.texel(y, x);
                  texel = texel * (1.0F - dark) + Vec4{0.0F, 0.0F, 0.0F, 1.0F} * dark;
                });
      const RodLook steel{{0.11F, 0.115F, 0.12F, 0}, 0.9F, 1.0F};
      trace_rod(points, widths, t.width(), 0, t.height(),
                [&](int x, int y, float across, float along, float cover) {
                  const Vec4 light = rod_light(steel, across, along);
                  t.texel(y, x) = t.texel(y, x) * (1.0F - cover) + light * cover;
                });
    }
  }
}

void lashes(const Scene& scene, Texture& t, const Opening& o) {
  Rng rng(key_of(scene.seed, 430));
  for (int i = 0; i < 120; ++i) {
    const bool upper = rng.chance(0.62);
    const double x = rng.uniform(-0.92, 0.92) * o.half_width;
    const double y = lid_height(o, upper, x) * 1.0 + (upper ? 0.5 : -0.5);
    const double length = (upper ? rng.uniform(4.5, 8.0) : rng.uniform(2.5, 4.5));
    double angle =
        (upper ? 0.5 : -0.5) * pi - 0.05 * x * (upper ? 1.0 : -1.0) + 0.25 * rng.normal();
    const double curl = rng.uniform(-0.12, 0.12);
    std::vector<Point> points;
    std::vector<double> widths;
    double px = x;
    double py = y;
    for (double s = 0.0; s <= 1.0; s += 0.1) {
      points.push_back({t.column(px), t.row(py)});
      widths.push_back(0.055 * (1.05 - s) * t.per_mm());
      angle += curl;
      px += 0.1 * length * std::cos(angle);
      py += 0.1 * length * std::sin(angle);
    }
    trace_rod(points, widths, t.width(), 0, t.height(),
              [&](int cx, int cy, float, float, float cover) {
                const Vec4 dark{0.012F, 0.009F, 0.007F, 1.0F};
                t.texel(cy, cx) = t.texel(cy, cx) * (1.0F - 0.9F * cover) + dark * (0.9F * cover);
              });
  }
}

}  // namespace

Texture paint_surround(const Scene& scene, double per_mm) {
  double wide = std::max(30.0, 1.5 * scene.microscope.field_mm);
  for (const Event& e : scene.events)
    if (e.what == Happening::Leave)
      wide = std::max(
          wide, 1.2 * scene.microscope.field_mm + 2.0 * std::hypot(e.shift_mm[0], e.shift_mm[1]));
  Texture t(wide, wide, std::clamp(0.6 * per_mm, 14.0, 45.0));
  if (scene.surround == Surround::Open) return t;
  Rng rng(key_of(scene.seed, 410));
  const bool operation = scene.surround == Surround::Operation;
  const Opening o =
      operation
          ? Opening{rng.uniform(12.3, 13.8), rng.uniform(7.2, 8.4), -rng.uniform(7.0, 8.0), 2.3}
          : Opening{rng.uniform(13.0, 14.2), rng.uniform(5.6, 6.5), -rng.uniform(5.5, 6.3), 2.0};
  const Fields f = fields_of(scene, t);
  const Vec4 cloth = drape_colour(scene.drape);
  const Vec4 skin{0.30F, 0.165F, 0.105F, 0.0F};
  const Vec4 margin{0.42F, 0.17F, 0.14F, 0.0F};
  const Vec4 iodine{0.55F, 0.50F, 0.28F, 0.0F};
  for (int j = 0; j < t.height(); ++j) {
    for (int i = 0; i < t.width(); ++i) {
      const double x = t.x_mm(i);
      const double y = t.y_mm(j);
      const float ragged = f.ragged.at<float>(j, i);
      const double above = y - lid_height(o, true, x);
      const double below = lid_height(o, false, x) - y;
      const double out =
          std::max({above, below, (std::abs(x) - o.half_width) * 0.6}) + 0.35 * ragged;
      // Lid margin, skin, then the drape (or only skin at the slit lamp).
      const float to_skin = static_cast<float>(ease(0.6, 1.9, out + 0.25 * ragged));
      Vec4 colour = margin + (skin - margin) * to_skin;
      const float pores = f.pores.at<float>(j, i);
      colour *= 1.0F + 0.30F * pores + 0.20F * f.stain.at<float>(j, i);
      if (operation) {
        const float dyed = std::clamp(0.8F + 1.2F * f.stain.at<float>(j, i), 0.0F, 1.0F);
        colour *= all(1.0F) + (iodine - all(1.0F)) * dyed;
        // A clear film lies over the lids; the cloth of the drape begins further out.
        const float to_cloth =
            static_cast<float>(ease(2.6, 3.4, out - 0.6 + 2.4 * f.stain.at<float>(j, i)));
        const float fold = fold_light(f.folds, j, i, t.per_mm());
        colour = colour * (0.55F + 0.45F * std::clamp(fold, 0.0F, 1.5F));
        const float light = std::clamp(fold, 0.12F, 2.5F) * (0.9F + 0.25F * pores);
        colour = colour + (cloth * light - colour) * to_cloth;
        const float lit =
            std::max(0.0F, fold - 1.05F) * std::max(0.0F, f.wet.at<float>(j, i) + 0.05F);
        colour += all(1.1F * lit * lit * (1.0F - 0.8F * to_cloth));
        // Wrinkles of the wet film: dark valleys, and crests that mirror the lamp.
        const float wrinkle = fold_light(f.film, j, i, 0.9 * t.per_mm());
        colour *= 0.62F + 0.38F * std::clamp(wrinkle, 0.0F, 1.4F);
        const float crest = std::max(0.0F, wrinkle - 1.25F);
        colour += all(0.55F * crest * crest * (1.0F - 0.9F * to_cloth));
        colour += all(std::max(0.0F, fold - 1.6F) * 0.10F * to_cloth);
      } else {
        const float gloss = std::exp(-static_cast<float>(std::pow((out - 0.75) / 0.16, 2.0)));
        colour += all(0.10F * gloss * std::max(0.0F, 0.7F + f.wet.at<float>(j, i)));
      }
      // Fluid stands along the lids and mirrors the lamp in broken lines.
      const float pool = std::exp(-static_cast<float>(std::pow((out + 0.05) / 0.10, 2.0)));
      const float broken =
          std::max(0.0F, 1.6F * f.wet.at<float>(j, i) + 0.9F * f.stain.at<float>(j, i) - 0.15F);
      if (operation) colour += all(0.9F * pool * broken);
      const auto cover = static_cast<float>(ease(-0.12, 0.12, out));
      // Inside the opening a dark veil: the lid's shadow and the fornix.
      const auto veil =
          static_cast<float>(0.85 * std::exp(-std::pow(std::max(0.0, -out) / 1.5, 1.2)));
      const float curl = 0.5F + 0.5F * static_cast<float>(ease(-0.1, 0.9, out));
      Vec4 value = colour * (cover * curl);
      value[3] = cover + (1.0F - cover) * veil;
      t.texel(j, i) = value;
    }
  }
  if (operation)
    wires(scene, t, o);
  else
    lashes(scene, t, o);
  return t;
}

}  // namespace rhumb::render
