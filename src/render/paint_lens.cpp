#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "render/paint.h"
#include "render/rng.h"

namespace rhumb::render {
namespace {

constexpr double pi = std::numbers::pi;

// Share of a texel covered by something whose edge is `inside` millimetres away (positive inside).
double covered(double inside_mm, double per_mm) {
  return std::clamp(0.5 + inside_mm * per_mm, 0.0, 1.0);
}

double mark_cover(const Lens& lens, double x, double y, double per_mm) {
  const double u = std::abs(x);
  if (lens.marks == Marks::Dots) {
    double most = 0.0;
    for (int k = 0; k < lens.per_end; ++k) {
      const double at = lens.mark_radius_mm - k * lens.dot_gap_mm;
      most = std::max(most, covered(0.5 * lens.dot_mm - std::hypot(u - at, y), per_mm));
    }
    return most;
  }
  if (lens.marks == Marks::Lines) {
    const double along =
        std::min(lens.mark_radius_mm - u, u - (lens.mark_radius_mm - lens.line_mm));
    const double across = 0.5 * lens.line_width_mm - std::abs(y);
    return covered(along, per_mm) * covered(across, per_mm);
  }
  return 0.0;
}

// Signed distance into the haptics (positive inside), in the haptics' own axes.
double haptic_inside(const Lens& lens, double x, double y) {
  const double optic = 0.5 * lens.optic_mm;
  if (lens.haptic == Haptic::Plate) {
    const double half_width = 0.92 * optic;
    const double plate = std::min(5.4 - std::abs(x), half_width - std::abs(y));
    const double hole = std::hypot(std::abs(x) - 4.5, y) - 0.55;
    return std::min(plate, hole);
  }
  // Two arms, each leaving the optic's rim and sweeping round outside it; the pair is symmetrical
  // by half a turn.
  double best = -1e9;
  for (const double flip : {1.0, -1.0}) {
    const double a = flip * x;
    const double b = flip * y;
    const double angle = std::atan2(b, a);
    const double r = std::hypot(a, b);
    for (const double wrap : {0.0, 2.0 * pi}) {
      const double s = (angle + wrap - 0.15) / 2.0;  // 0 at the rim, 1 at the tip
      if (s < 0.0 || s > 1.0) continue;
      const double middle = optic + 0.1 + (6.3 - optic) * std::min(1.0, 1.25 * std::sqrt(s));
      const double half = 0.19 + 0.30 * std::exp(-9.0 * s);
      best = std::max(best, half - std::abs(r - middle));
    }
  }
  return best;
}

}  // namespace

Texture paint_lens(const Lens& lens, double per_mm, std::uint64_t key) {
  Texture texture(13.6, 13.6, std::max(36.0, per_mm));
  const double density = texture.per_mm();
  const double optic = 0.5 * lens.optic_mm;
  const double c = std::cos(lens.haptic_turn_rad);
  const double n = std::sin(lens.haptic_turn_rad);
  const cv::Mat dust =
      cloud({texture.width(), texture.height()}, {3.0 * density, 3.0 * density, 5, 0.6}, key);
  for (int j = 0; j < texture.height(); ++j) {
    for (int i = 0; i < texture.width(); ++i) {
      const double x = texture.x_mm(i);
      const double y = texture.y_mm(j);
      const double r = std::hypot(x, y);
      const double in_optic = covered(optic - r, density);
      const double mark = mark_cover(lens, x, y, density) * in_optic;
      const double haptic = haptic_inside(lens, c * x + n * y, c * y - n * x);
      const double arm = covered(haptic, density) * (1.0 - in_optic);
      const double rim = std::exp(-std::pow((r - optic + 0.03) / 0.035, 2.0));
      const double shade = std::exp(-std::pow((r - optic + 0.10) / 0.06, 2.0));
      const double arm_edge = std::exp(-std::pow(haptic / 0.04, 2.0)) * (1.0 - in_optic);
      const double zone = lens.rings > 0.0 && r < 0.42 * optic * 2.0
                              ? lens.rings * 0.05 * std::sin(2.0 * pi * r * r * 1.3)
                              : 0.0;
      double through =
          1.0 - 0.015 * in_optic - 0.13 * shade - 0.16 * rim - 0.05 * arm - 0.13 * arm_edge;
      through *= (1.0 - lens.contrast * mark) * (1.0 + zone);
      const double scatter = in_optic * 0.006 * (1.0 + dust.at<float>(j, i)) + lens.grey * mark +
                             0.012 * arm + 0.02 * arm_edge;
      const double edge = lens.edge * (rim + 0.55 * arm_edge);
      texture.texel(j, i) = Vec4{static_cast<float>(through), static_cast<float>(scatter),
                                 static_cast<float>(edge), static_cast<float>(mark)};
    }
  }
  return texture;
}

namespace {

// What the iris has left on the capsule: pigment at the pupil's edge, and vessels that run over it.
cv::Mat paint_leftovers(const Scene& scene, const Texture& t) {
  cv::Mat dark = cv::Mat::zeros(t.height(), t.width(), CV_32FC1);
  Rng rng(key_of(scene.seed, 310));
  const double pupil = 0.5 * scene.eye.pupil_mm;
  const auto at = [&](double r, double a) {
    return Point{t.column(r * std::cos(a) + scene.eye.pupil_shift_mm[0]),
                 t.row(r * std::sin(a) + scene.eye.pupil_shift_mm[1])};
  };
  for (int i = 0; i < scene.eye.edge_crypts; ++i) {
    const double a = rng.uniform(0.0, 2.0 * pi);
    const double r = pupil - std::abs(rng.normal()) * 0.28;
    const double half = rng.uniform(0.03, 0.10);
    const double lean = rng.uniform(-0.06, 0.06);
    paint_tube(dark, {at(r, a), at(r - rng.uniform(0.0, 0.12), a + lean)},
               {half * t.per_mm(), 0.6 * half * t.per_mm()}, rng.uniform(0.5, 0.95));
  }
  for (int i = 0; i < scene.eye.edge_vessels; ++i) {
    double a = rng.uniform(0.0, 2.0 * pi);
    double r = pupil + 0.3;
    const double end = pupil - rng.uniform(0.35, 1.1);
    const double half = rng.uniform(0.012, 0.030);
    std::vector<Point> points;
    std::vector<double> widths;
    const std::uint64_t key = key_of(scene.seed, 3100 + static_cast<unsigned>(i));
    for (double s = 0.0; r > end; s += 0.05) {
      points.push_back(at(r, a));
      widths.push_back(half * t.per_mm());
      r -= 0.05 * (0.7 + 0.6 * wander(key, 1.5 * s));
      a += 0.05 / r * 2.2 * wander(key + 1, 1.2 * s);
    }
    paint_tube(dark, points, widths, rng.uniform(0.35, 0.75));
  }
  cv::GaussianBlur(dark, dark, {}, std::max(0.5, 0.012 * t.per_mm()));
  return dark;
}

}  // namespace

Texture paint_capsule(const Scene& scene, double per_mm) {
  Texture texture(13.6, 13.6, std::max(48.0, per_mm));
  const double t = texture.per_mm();
  const cv::Size size(texture.width(), texture.height());
  const Reflex& reflex = scene.reflex;
  const cv::Mat wobble = cloud(size, {2.5 * t, 2.5 * t, 2, 0.4}, key_of(scene.seed, 301));
  const cv::Mat fibrosis = cloud(size, {1.1 * t, 1.1 * t, 5, 0.65}, key_of(scene.seed, 302));
  const cv::Mat speckle = cloud(size, {1.6 * t, 1.6 * t, 6, 0.62}, key_of(scene.seed, 303));
  const cv::Mat leftovers = paint_leftovers(scene, texture);
  const double torn = 0.5 * reflex.rhexis_mm;
  for (int j = 0; j < texture.height(); ++j) {
    for (int i = 0; i < texture.width(); ++i) {
      const double x = texture.x_mm(i) - reflex.rhexis_shift_mm[0];
      const double y = texture.y_mm(j) - reflex.rhexis_shift_mm[1];
      const double r = std::hypot(x, y);
      const double edge = torn + 0.12 * wobble.at<float>(j, i);
      const double rim = std::exp(-std::pow((r - edge) / 0.030, 2.0));
      const double anterior = ease(-0.03, 0.03, r - edge);  // two layers of capsule outside it
      const double scar = std::max(0.0, reflex.capsule_haze * (0.5 * anterior + 0.08) *
                                            (0.8 + 1.6 * fibrosis.at<float>(j, i)));
      double ring = 0.0;
      if (reflex.tension_ring) {
        const double a = std::atan2(y, x);
        const double eyelet = std::hypot(x - 4.75 * std::cos(0.4), y - 4.75 * std::sin(0.4));
        ring = a > 0.3 || a < -0.2 ? covered(0.09 - std::abs(r - 4.95), t) : 0.0;
        ring = std::max(ring, covered(0.10 - std::abs(eyelet - 0.25), t));
      }
      const double through = (1.0 - 0.16 * reflex.rhexis_visible * rim) * (1.0 - 0.55 * scar) *
                             (1.0 - 0.75 * ring) * (1.0 - 0.9 * leftovers.at<float>(j, i));
      const double scatter = 0.010 * reflex.rhexis_visible * rim + 0.30 * scar + 0.05 * ring;
      texture.texel(j, i) =
          Vec4{static_cast<float>(through), static_cast<float>(scatter),
               static_cast<float>(0.5 * reflex.rhexis_visible * rim), speckle.at<float>(j, i)};
    }
  }
  return texture;
}

}  // namespace rhumb::render
