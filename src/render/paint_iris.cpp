#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "render/paint.h"
#include "render/rng.h"

namespace rhumb::render {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double root_mm = 6.6;  // the iris root lies hidden behind the limbus

struct Tones {
  Vec4 stroma;  // between the fibres
  Vec4 fibre;
  Vec4 inner;  // colour of the pupillary zone, mixed in by `ring`
  float ring;
};

Tones tones_of(Iris iris) {
  switch (iris) {
    case Iris::Blue:
      return Tones{vec(.075F, .125F, .185F), vec(.32F, .40F, .46F), vec(.34F, .33F, .27F), .35F};
    case Iris::Grey:
      return Tones{vec(.10F, .125F, .14F), vec(.36F, .39F, .39F), vec(.30F, .27F, .20F), .35F};
    case Iris::Green:
      return Tones{vec(.085F, .105F, .060F), vec(.28F, .30F, .18F), vec(.24F, .17F, .07F), .6F};
    case Iris::Hazel:
      return Tones{vec(.080F, .075F, .045F), vec(.25F, .22F, .125F), vec(.20F, .105F, .035F), .75F};
    case Iris::Brown:
      return Tones{vec(.055F, .030F, .015F), vec(.175F, .095F, .042F), vec(.12F, .058F, .022F),
                   .6F};
    case Iris::DarkBrown:
      return Tones{vec(.022F, .013F, .009F), vec(.070F, .040F, .023F), vec(.045F, .024F, .013F),
                   .6F};
  }
  return tones_of(Iris::Hazel);
}

// Fields over meridian (columns, wrapping) and depth from the pupil's edge to the root (rows).
struct Polar {
  cv::Mat fibres, crypts, furrows, blotches;
};

cv::Mat warp_meridian(const cv::Mat& field, const cv::Mat& bend) {
  cv::Mat mx(field.size(), CV_32FC1);
  cv::Mat my(field.size(), CV_32FC1);
  for (int y = 0; y < field.rows; ++y)
    for (int x = 0; x < field.cols; ++x) {
      mx.at<float>(y, x) = static_cast<float>(x) + bend.at<float>(y, x);
      my.at<float>(y, x) = static_cast<float>(y);
    }
  cv::Mat out;
  cv::remap(field, out, mx, my, cv::INTER_LINEAR, cv::BORDER_WRAP);
  return out;
}

Polar paint_polar(const Scene& scene, int columns, int rows) {
  const cv::Size size(columns, rows);
  const auto key = [&](unsigned n) { return key_of(scene.seed, 200 + n); };
  const double degree = columns / 360.0;
  Polar p;
  const cv::Mat bend =
      (3.2 * degree) * cloud(size, {14 * degree, rows * 0.5, 3, 0.5, true}, key(1));
  const cv::Mat coarse = cloud(size, {2.6 * degree, rows * 0.9, 3, 0.75, true}, key(2));
  const cv::Mat fine = cloud(size, {0.9 * degree, rows * 0.6, 2, 0.8, true}, key(3));
  p.fibres = warp_meridian(0.6 * coarse + 0.65 * fine, bend);
  p.blotches = cloud(size, {38 * degree, rows * 0.45, 4, 0.55, true}, key(4));
  const cv::Mat rings = cloud(size, {26 * degree, rows * 0.10, 2, 0.5, true}, key(5));
  p.furrows = cv::max(rings - 0.18, 0.0);
  p.crypts = cv::Mat::zeros(size, CV_32FC1);
  Rng rng(key(6));
  const int count = 34 + rng.below(22);
  for (int i = 0; i < count; ++i) {
    const double x = rng.uniform(0.0, columns);
    const bool near_collarette = rng.chance(0.7);
    const double y = rows * (near_collarette ? rng.uniform(0.30, 0.55) : rng.uniform(0.7, 0.93));
    const double along =
        rows * (near_collarette ? rng.uniform(0.03, 0.11) : rng.uniform(0.01, 0.03));
    const double half = degree * (near_collarette ? rng.uniform(0.5, 2.0) : rng.uniform(0.4, 1.0));
    const double lean = rng.uniform(-2.0, 2.0) * degree;
    const double strength = rng.uniform(0.35, 1.0);
    for (const double wrap : {-1.0, 0.0, 1.0})
      paint_tube(p.crypts,
                 {{x - lean + wrap * columns, y - along},
                  {x + wrap * columns, y},
                  {x + lean + wrap * columns, y + along}},
                 {0.25 * half, half, 0.25 * half}, strength);
  }
  cv::GaussianBlur(p.crypts, p.crypts, {}, std::max(0.6, 0.22 * degree));
  return p;
}

}  // namespace

Texture paint_iris(const Scene& scene, double per_mm) {
  Texture texture(2.0 * root_mm, 2.0 * root_mm, std::max(48.0, per_mm));
  constexpr int columns = 2400;
  constexpr int rows = 224;
  const Polar polar = paint_polar(scene, columns, rows);
  const Tones tones = tones_of(scene.eye.iris);
  const double pupil = 0.5 * scene.eye.pupil_mm;
  const std::uint64_t shape = key_of(scene.seed, 221);
  const auto contrast = static_cast<float>(scene.eye.iris_contrast);
  for (int j = 0; j < texture.height(); ++j) {
    for (int i = 0; i < texture.width(); ++i) {
      const double x = texture.x_mm(i) - scene.eye.pupil_shift_mm[0];
      const double y = texture.y_mm(j) - scene.eye.pupil_shift_mm[1];
      const double r = std::hypot(x, y);
      if (r > root_mm * 1.45 || r < 0.7 * pupil) continue;
      const double turn = std::atan2(y, x) / (2.0 * pi) + 0.5;
      // Harmonics 2 to 6 and a fine scallop keep the pupil's mean radius and centre.
      double out_of_round = 0.0;
      for (int h = 2; h <= 6; ++h)
        out_of_round += std::cos(2.0 * pi * (h * turn + 0.5 * smooth_noise(shape, h))) / h;
      const double scallop =
          0.006 * std::sin(2.0 * pi * 46.0 * turn) * smooth_noise(shape + 1, 40 * turn);
      const double edge = pupil * (1.0 + scene.eye.pupil_irregular * out_of_round + scallop);
      const double depth = (r - edge) / (root_mm - 0.35 - pupil);
      const double column = turn * columns;
      const auto cx = std::min(columns - 1, static_cast<int>(column));
      const auto cy = std::clamp(static_cast<int>(depth * rows), 0, rows - 1);
      const auto d = static_cast<float>(depth);
      const float collarette = 0.34F + 0.06F * polar.blotches.at<float>(20, cx);
      const float near = std::exp(-std::pow((d - collarette) / 0.055F, 2.0F));
      float fibre = 0.42F + contrast * (0.72F * polar.fibres.at<float>(cy, cx));
      fibre += 0.22F * near + 0.30F * polar.blotches.at<float>(cy, cx);
      fibre = std::clamp(fibre, 0.0F, 1.25F);
      const float inner =
          tones.ring * (1.0F - std::clamp((d - collarette + 0.1F) / 0.3F, 0.0F, 1.0F));
      Vec4 colour = tones.stroma + (tones.fibre - tones.stroma) * fibre;
      colour = colour + (tones.inner * (0.45F + 0.9F * fibre) - colour) * inner;
      const float dark =
          0.78F * polar.crypts.at<float>(cy, cx) +
          0.6F * polar.furrows.at<float>(cy, cx) * std::clamp(2.0F * d - 0.6F, 0.0F, 1.0F);
      colour *= std::max(0.1F, 1.0F - contrast * dark);
      // Dark ruff at the pupil, dusk at the root.
      const auto ruff = static_cast<float>(1.0 - ease(0.0, 0.10, r - edge));
      colour *= 1.0F - 0.75F * ruff;
      colour *= 1.0F - 0.35F * std::clamp((d - 0.72F) / 0.28F, 0.0F, 1.0F);
      const double opaque = std::clamp(0.5 + (r - edge) * 18.0, 0.0, 1.0);
      colour[3] = static_cast<float>(opaque);
      texture.texel(j, i) = colour;
    }
  }
  return texture;
}

}  // namespace rhumb::render
