#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "render/paint.h"
#include "render/rng.h"

namespace rhumb::render {

double texel_density(double px_per_mm) { return std::clamp(1.15 * px_per_mm, 24.0, 110.0); }

double stereographic(double r_mm, double sphere_mm) {
  const double n = r_mm / sphere_mm;
  return 2.0 * r_mm / (1.0 + std::sqrt(std::max(0.0, 1.0 - n * n)));
}

namespace {

constexpr double pi = std::numbers::pi;
constexpr double map_mm = 34.0;

// A vessel creeps in the map: heading and width change smoothly.
struct Creep {
  double x, y, heading, half_mm;
  double straight_rad;  // where it wants to go, relative to the limbus: 0 is inwards
  double wriggle;       // radians a millimetre of wandering
  double length_mm;
  int depth;  // branchings left
};

class VesselPainter {
 public:
  VesselPainter(cv::Mat& map, const Texture& grid) : map_(map), grid_(grid), rng_(0) {}

  // A vessel with all its branches, from a key of its own.
  void plant(const Creep& start, double strength, double stop_radius, std::uint64_t key) {
    rng_ = Rng(key);
    grow(start, strength, stop_radius);
  }

 private:
  void grow(const Creep& start, double strength, double stop_radius) {
    Creep c = start;
    constexpr double step = 0.07;
    std::vector<Point> points;
    std::vector<double> widths;
    const std::uint64_t key = mix(static_cast<std::uint64_t>(rng_.uniform() * 1e15));
    const double taper = rng_.uniform(0.35, 0.8);
    const auto steps = static_cast<int>(c.length_mm / step);
    for (int i = 0; i < steps; ++i) {
      const double f = static_cast<double>(i) / steps;
      const double beads = 1.0 + 0.16 * smooth_noise(mix(key + 5), i * 0.13);
      points.push_back({grid_.column(c.x), grid_.row(c.y)});
      widths.push_back(c.half_mm * (1.0 - taper * f) * beads * grid_.per_mm());
      const double radius = std::hypot(c.x, c.y);
      if (radius < stop_radius) break;
      const double inwards = std::atan2(-c.y, -c.x) + c.straight_rad;
      double off = std::remainder(inwards - c.heading, 2.0 * pi);
      off = std::clamp(off, -1.2, 1.2);
      c.heading += step * (0.45 * off + c.wriggle * wander(key, i * step * 1.4) +
                           0.5 * c.wriggle * smooth_noise(mix(key + 3), i * step * 3.1));
      c.x += step * std::cos(c.heading);
      c.y += step * std::sin(c.heading);
      if (c.depth > 0 && rng_.chance(step / 2.3)) branch(c, f, taper, strength, stop_radius);
    }
    paint_tube(map_, points, widths, strength);
  }

  void branch(const Creep& c, double f, double taper, double strength, double stop_radius) {
    Creep b = c;
    const double side = rng_.chance(0.5) ? 1.0 : -1.0;
    b.heading += side * rng_.uniform(0.35, 0.9);
    b.straight_rad += side * rng_.uniform(0.2, 0.8);
    b.half_mm *= (1.0 - taper * f) * rng_.uniform(0.45, 0.8);
    b.length_mm *= rng_.uniform(0.35, 0.75);
    b.depth -= 1;
    grow(b, strength * rng_.uniform(0.75, 1.0), stop_radius);
  }

  cv::Mat& map_;
  const Texture& grid_;
  Rng rng_;
};

// Blood in the vessels above the sclera (sharp) and in it (blurred, bluish).
void paint_vessels(const Scene& scene, const Texture& grid, double limbus, cv::Mat& shallow,
                   cv::Mat& deep) {
  VesselPainter top(shallow, grid);
  VesselPainter under(deep, grid);
  // Vessel i of a family: usually the same for a seed; by chance another one at a later visit.
  const auto stream = [&](unsigned family, int i) {
    const std::uint64_t key = key_of(scene.seed, 1000 * family + static_cast<unsigned>(i));
    const std::uint64_t visit =
        mix(key ^ mix(static_cast<std::uint64_t>(scene.eye.vessels_visit) + 77));
    return Rng(visit).uniform() < scene.eye.vessels_changed ? visit : key;
  };
  const auto at = [&](double radius, double meridian) {
    return Point{radius * std::cos(meridian), radius * std::sin(meridian)};
  };
  const auto some = [&](double n) { return static_cast<int>(std::lround(n * scene.eye.vessels)); };
  // Most run near the horizontal: the lids leave it bare and the rectus muscles feed it.
  const auto meridian = [](Rng& rng) {
    const double m = rng.uniform(0.0, 2.0 * pi);
    return rng.chance(0.45) ? m - 0.35 * std::sin(2.0 * m) : m;
  };
  for (int i = 0; i < some(15); ++i) {  // anterior ciliary branches, straight and deep
    Rng rng(stream(1, i));
    const Point p = at(rng.uniform(10.0, 15.0), meridian(rng));
    under.plant({p.x, p.y, std::atan2(-p.y, -p.x) + rng.uniform(-0.3, 0.3), rng.uniform(0.06, 0.13),
                 rng.uniform(-0.3, 0.3), rng.uniform(0.5, 1.4), rng.uniform(4.0, 8.0), 2},
                rng.uniform(0.5, 0.9), limbus + 1.2, mix(stream(1, i)));
  }
  for (int i = 0; i < some(26); ++i) {  // conjunctival vessels, winding
    Rng rng(stream(2, i));
    const Point p = at(rng.uniform(8.5, 15.0), meridian(rng));
    const double wriggle = rng.chance(0.3) ? rng.uniform(2.5, 5.0) : rng.uniform(0.8, 2.2);
    top.plant({p.x, p.y, std::atan2(-p.y, -p.x) + rng.uniform(-0.9, 0.9), rng.uniform(0.025, 0.08),
               rng.uniform(-0.9, 0.9), wriggle, rng.uniform(2.5, 7.0), 3},
              rng.uniform(0.35, 0.95), limbus + 0.1, mix(stream(2, i)));
  }
  for (int i = 0; i < some(110); ++i) {  // fine twigs
    Rng rng(stream(3, i));
    const Point p = at(limbus + std::abs(rng.normal()) * 3.0 + 0.5, meridian(rng));
    top.plant({p.x, p.y, rng.uniform(0.0, 2.0 * pi), rng.uniform(0.010, 0.024),
               rng.uniform(-1.6, 1.6), rng.uniform(1.0, 4.0), rng.uniform(0.8, 2.6), 2},
              rng.uniform(0.25, 0.7), limbus - 0.1, mix(stream(3, i)));
  }
  for (int i = 0; i < some(120); ++i) {  // limbal arcades: little loops at the cornea's rim
    Rng rng(stream(4, i));
    const Point p = at(limbus + rng.uniform(0.3, 1.0), rng.uniform(0.0, 2.0 * pi));
    top.plant({p.x, p.y, std::atan2(-p.y, -p.x) + rng.uniform(-0.5, 0.5), rng.uniform(0.009, 0.018),
               rng.uniform(-0.7, 0.7), rng.uniform(1.0, 4.0), rng.uniform(0.5, 1.1), 1},
              rng.uniform(0.25, 0.6), limbus - 0.25, mix(stream(4, i)));
  }
}

// Dye along each marked meridian, patchy, with a run edge.
cv::Mat paint_ink(const Scene& scene, const Texture& grid, double limbus,
                  const std::vector<double>& meridians) {
  cv::Mat ink = cv::Mat::zeros(grid.height(), grid.width(), CV_32FC1);
  Rng rng(key_of(scene.seed, 121));
  for (const double m : meridians) {
    const double start = limbus - rng.uniform(0.1, 0.35);
    const double length = scene.ink.length_mm * rng.uniform(0.8, 1.15);
    // Pressed hardest at the limbus, trailing off outwards; symmetrical about the meridian, so that
    // the mark's middle is where it was put.
    for (const double reach : {0.45, 0.7, 1.0}) {
      std::vector<Point> points;
      std::vector<double> widths;
      for (double s = 0.0; s <= reach + 1e-9; s += reach / 30.0) {
        const double r = start + s * length;
        points.push_back({grid.column(r * std::cos(m)), grid.row(r * std::sin(m))});
        const double end = ease(0.0, 0.1, s) * (1.0 - ease(0.6 * reach, reach, s));
        widths.push_back(0.5 * scene.ink.width_mm * (0.35 + 0.65 * end) * grid.per_mm());
      }
      paint_tube(ink, points, widths, 1.15 - 0.55 * reach);
    }
  }
  cv::Mat run;
  cv::GaussianBlur(ink, run, {}, std::max(0.5, scene.ink.spread_mm * grid.per_mm()));
  cv::GaussianBlur(ink, ink, {}, std::max(0.5, 0.04 * grid.per_mm()));
  const CloudShape grain{0.35 * grid.per_mm(), 0.35 * grid.per_mm(), 4, 0.7};
  const cv::Mat patches = cloud(ink.size(), grain, key_of(scene.seed, 122));
  ink = ink.mul(0.75 + 1.1 * patches) + 0.9 * run.mul(1.0 + 0.6 * patches);
  return cv::max(ink, 0.0) * scene.ink.strength;
}

}  // namespace

Texture paint_sclera(const Scene& scene, const Surfaces& surfaces, double per_mm) {
  Texture texture(map_mm, map_mm, per_mm);
  const cv::Size size(texture.width(), texture.height());
  const double limbus = stereographic(surfaces.limbus_mean_mm, surfaces.sclera_radius_mm);
  cv::Mat shallow = cv::Mat::zeros(size, CV_32FC1);
  cv::Mat deep = shallow.clone();
  paint_vessels(scene, texture, limbus, shallow, deep);
  cv::GaussianBlur(shallow, shallow, {}, std::max(0.35, 0.006 * per_mm));
  cv::Mat halo;
  cv::GaussianBlur(deep, halo, {}, 0.16 * per_mm);
  cv::GaussianBlur(deep, deep, {}, 0.05 * per_mm);

  const cv::Mat stain = cloud(size, {4.0 * per_mm, 4.0 * per_mm, 4, 0.5}, key_of(scene.seed, 111));
  const cv::Mat mottle =
      cloud(size, {0.9 * per_mm, 0.9 * per_mm, 5, 0.65}, key_of(scene.seed, 112));
  const cv::Mat blush = cloud(size, {2.6 * per_mm, 2.6 * per_mm, 4, 0.55}, key_of(scene.seed, 113));

  cv::Mat spots = cv::Mat::zeros(size, CV_32FC1);
  Rng rng(key_of(scene.seed, 114));
  for (int i = 0; i < scene.eye.pigment_spots; ++i) {
    const double m = rng.uniform(0.0, 2.0 * pi);
    const double r = limbus + rng.uniform(0.2, 3.5);
    const Point p{texture.column(r * std::cos(m)), texture.row(r * std::sin(m))};
    const double half = rng.uniform(0.05, 0.16) * per_mm;
    paint_tube(spots, {p, {p.x + half * rng.uniform(-1, 1), p.y + half * rng.uniform(-1, 1)}},
               {half, 0.7 * half}, rng.uniform(0.3, 0.9));
  }
  cv::GaussianBlur(spots, spots, {}, 0.05 * per_mm);

  std::vector<double> meridians = scene.ink.meridians_rad;
  for (std::size_t i = 0; i < meridians.size(); ++i)
    meridians[i] += i < scene.ink.errors_rad.size() ? scene.ink.errors_rad[i] : 0.0;
  if (scene.reference != Reference::Ink) meridians.clear();
  if (scene.ink.target) {
    meridians.push_back(scene.plan.axis_rad + scene.ink.target_error_rad);
    meridians.push_back(scene.plan.axis_rad + scene.ink.target_error_rad + pi);
  }
  const Eigen::Matrix2d circle = circle_from_eye(surfaces);
  for (double& m : meridians) {
    const Eigen::Vector2d along = circle * Eigen::Vector2d(std::cos(m), std::sin(m));
    m = std::atan2(along.y(), along.x());
  }
  const cv::Mat ink = paint_ink(scene, texture, limbus, meridians);

  const Vec4 white{0.80F, 0.745F, 0.655F, 0.0F};
  const Vec4 bright_blood{0.32F, 1.75F, 1.55F, 0.0F};
  const Vec4 deep_blood{0.75F, 1.35F, 1.0F, 0.0F};
  const auto redness = static_cast<float>(scene.eye.redness);
  const auto yellow = static_cast<float>(scene.eye.yellowness);
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const auto r = static_cast<float>(std::hypot(texture.x_mm(x), texture.y_mm(y)) - limbus);
      const float tone = 1.0F + 0.10F * stain.at<float>(y, x) + 0.10F * mottle.at<float>(y, x);
      // Hyperaemia gathers round the limbus; yellow fat lies further out.
      const float rim = std::exp(-std::max(0.0F, r) / 2.2F);
      const float pink =
          std::max(0.0F, redness * (0.35F + 0.5F * rim + 0.9F * blush.at<float>(y, x)));
      const float fat = std::max(0.0F, yellow * (0.25F + 0.10F * r + 1.1F * stain.at<float>(y, x)));
      const float density = 0.9F * shallow.at<float>(y, x) + 0.12F * pink;
      const float below =
          0.55F * deep.at<float>(y, x) + 0.35F * halo.at<float>(y, x) + 0.08F * pink;
      Vec4 exponent = -(bright_blood * density + deep_blood * below);
      exponent -= Vec4{0.02F, 0.10F, 0.42F, 0.0F} * fat;
      exponent -= Vec4{0.9F, 1.3F, 1.7F, 0.0F} * spots.at<float>(y, x);
      // The sclera thins and greys where it runs under the cornea's rim.
      const float grey = 0.30F * std::exp(-std::abs(r) * 1.6F);
      exponent -= Vec4{1.0F, 0.85F, 0.70F, 0.0F} * grey;
      Vec4 value = white * tone;
      for (int k = 0; k < 3; ++k) value[k] *= std::exp(exponent[k]);
      value[3] = ink.at<float>(y, x);
      texture.texel(y, x) = value;
    }
  }
  return texture;
}

Texture paint_wetness(const Scene& scene, const Surfaces& surfaces, double per_mm) {
  Texture texture(map_mm, map_mm, 0.42 * per_mm);
  const double t = texture.per_mm();
  const cv::Size size(texture.width(), texture.height());
  const double limbus = stereographic(surfaces.limbus_mean_mm, surfaces.sclera_radius_mm);
  const cv::Mat folds = cloud(size, {2.4 * t, 2.4 * t, 4, 0.5}, key_of(scene.seed, 131));
  cv::Mat slope_x;
  cv::Mat slope_y;
  cv::Scharr(folds, slope_x, CV_32F, 1, 0, t / 32.0);
  cv::Scharr(folds, slope_y, CV_32F, 0, 1, t / 32.0);

  cv::Mat blood = cv::Mat::zeros(size, CV_32FC1);
  Rng rng(key_of(scene.seed, 132));
  const cv::Mat clots = cloud(size, {0.8 * t, 0.8 * t, 5, 0.6}, key_of(scene.seed, 133));
  const double amount = scene.clutter.blood;
  const auto patch = [&](double meridian, double radius, double half_mm, double strength) {
    const Point p{texture.column(radius * std::cos(meridian)),
                  texture.row(radius * std::sin(meridian))};
    const double a = meridian + 0.5 * pi + rng.uniform(-0.4, 0.4);
    const double l = rng.uniform(0.3, 1.2) * t;
    paint_tube(blood,
               {{p.x - l * std::cos(a), p.y - l * std::sin(a)},
                {p.x + l * std::cos(a), p.y + l * std::sin(a)}},
               {half_mm * t, 0.6 * half_mm * t}, strength);
  };
  if (amount > 0.0) {
    if (scene.clutter.incisions) {
      patch(scene.clutter.incision_rad, limbus + 0.45, 0.30, amount * 0.9);
      patch(scene.clutter.side_port_rad, limbus + 0.35, 0.18, amount * 0.8);
    }
    if (rng.chance(amount))
      patch(rng.uniform(0, 2 * pi), limbus + rng.uniform(0.8, 3), 0.8, amount);
  }
  cv::GaussianBlur(blood, blood, {}, 0.14 * t);
  blood = cv::max(blood.mul(0.9 + 1.5 * clots), 0.0);

  cv::Mat milky = cv::Mat::zeros(size, CV_32FC1);
  if (scene.clutter.incisions) {
    const auto cut = [&](double meridian, double half_width_mm, double depth_mm, double strength) {
      for (const double r : {limbus - 0.15, limbus - 0.15 - depth_mm}) {
        std::vector<Point> points;
        std::vector<double> widths;
        for (double s = -1.0; s <= 1.01; s += 0.1) {
          const double m = meridian + s * half_width_mm / r;
          points.push_back({texture.column(r * std::cos(m)), texture.row(r * std::sin(m))});
          widths.push_back(0.035 * t * (1.0 + 0.4 * rng.uniform()));
        }
        paint_tube(milky, points, widths, strength);
      }
    };
    cut(scene.clutter.incision_rad, 1.15, 1.5, 0.5);
    cut(scene.clutter.side_port_rad, 0.5, 0.9, 0.35);
    cv::Mat oedema;
    cv::GaussianBlur(milky, oedema, {}, 0.35 * t);
    cv::GaussianBlur(milky, milky, {}, 0.02 * t);
    milky += 0.6 * oedema;
  }
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double r = std::hypot(texture.x_mm(x), texture.y_mm(y));
      const double ring = scene.eye.arcus * std::exp(-std::pow((r - (limbus - 0.75)) / 0.4, 2.0));
      // Folds belong to the conjunctiva; the cornea is smooth.
      const auto loose = static_cast<float>(ease(limbus + 0.3, limbus + 2.0, r));
      texture.texel(y, x) =
          Vec4{loose * slope_x.at<float>(y, x), loose * slope_y.at<float>(y, x),
               blood.at<float>(y, x), milky.at<float>(y, x) + static_cast<float>(0.5 * ring)};
    }
  }
  return texture;
}

}  // namespace rhumb::render
