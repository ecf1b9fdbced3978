// Drawn positions against closed forms: what the renderer calls the truth must be what it draws.
#include <Eigen/Dense>
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "plain.h"

using namespace rhumb;
using namespace rhumb::render;
using namespace rhumb::render::testing;
using angle::deg_from_rad;
using angle::rad_from_deg;

namespace {

// Centres of the outermost dot at each end, from the difference between a picture with marks and
// one without: picture coordinates, in the order left to right.
std::vector<Eigen::Vector2d> dot_centres(Scene scene) {
  scene.lens.contrast = 0.9;
  const std::vector<Vec4> with = light_of(Stage(scene), 0.0);
  scene.lens.contrast = 0.0;
  const std::vector<Vec4> without = light_of(Stage(scene), 0.0);
  const int width = scene.camera.width;
  cv::Mat dark(scene.camera.height, width, CV_32FC1);
  for (int y = 0; y < dark.rows; ++y)
    for (int x = 0; x < width; ++x) {
      const auto i = static_cast<std::size_t>(y) * static_cast<std::size_t>(width) +
                     static_cast<std::size_t>(x);
      dark.at<float>(y, x) = without[i][0] - with[i][0];
    }
  cv::Mat mask = dark > 1e-4F;
  cv::Mat labels;
  const int count = cv::connectedComponents(mask, labels, 8);
  std::vector<Eigen::Vector3d> sums(static_cast<std::size_t>(count), Eigen::Vector3d::Zero());
  for (int y = 0; y < dark.rows; ++y)
    for (int x = 0; x < width; ++x)
      if (const int k = labels.at<int>(y, x); k > 0)
        sums[static_cast<std::size_t>(k)] +=
            static_cast<double>(dark.at<float>(y, x)) * Eigen::Vector3d(x, y, 1.0);
  std::vector<Eigen::Vector2d> centres;
  for (std::size_t k = 1; k < sums.size(); ++k)
    if (sums[k].z() > 1.0) centres.emplace_back(sums[k].head<2>() / sums[k].z());
  std::sort(centres.begin(), centres.end(),
            [](const auto& a, const auto& b) { return a.x() < b.x(); });
  return centres;
}

// Direction from the first to the last centre, counter-clockwise in an upright picture (y points
// down in it).
double seen_axis_deg(const std::vector<Eigen::Vector2d>& centres) {
  const Eigen::Vector2d d = centres.back() - centres.front();
  return deg_from_rad(angle::wrap_axis(std::atan2(-d.y(), d.x())));
}

double off_deg(double a, double b) {
  return std::abs(deg_from_rad(angle::wrap_deviation(rad_from_deg(a - b))));
}

// A ray that comes down parallel to the eye's axis at height h: where it meets the plane `depth`
// behind the apex of a refracting sphere. Snell's law in plane trigonometry, not the renderer's
// vectors.
double height_at(double h, double radius, double index, double depth) {
  const double incidence = std::asin(h / radius);
  const double refracted = std::asin(std::sin(incidence) / index);
  const double sag = radius - std::sqrt(radius * radius - h * h);
  return h - (depth - sag) * std::tan(incidence - refracted);
}

double apparent_height(double true_height, double radius, double index, double depth) {
  double low = 0.0;
  double high = 6.0;
  for (int i = 0; i < 80; ++i) {
    const double middle = 0.5 * (low + high);
    (height_at(middle, radius, index, depth) < true_height ? low : high) = middle;
  }
  return low;
}

}  // namespace

TEST_CASE("The marks are drawn at the true axis of an eye that is not tilted") {
  // By symmetry a sphere on the eye's axis changes no direction through its centre; torsion adds.
  for (const double axis : {0.0, 37.0, 112.5}) {
    for (const double torsion : {0.0, -6.5}) {
      Scene s = plain_scene();
      lay_lens(s, rad_from_deg(axis));
      s.motion.torsion_rad = rad_from_deg(torsion);
      const auto centres = dot_centres(s);
      REQUIRE(centres.size() == 6);
      CHECK(off_deg(seen_axis_deg(centres), axis + torsion) < 0.02);
    }
  }
}

TEST_CASE("Without refraction a tilt foreshortens the marks' direction by its cosine") {
  // Closed form: tan(seen) = tan(axis) / cos(tilt). References T46: at most 0.439 degrees off at 10
  // degrees.
  for (const double tilt : {2.0, 5.0, 10.0, 15.0}) {
    Scene s = plain_scene();
    s.eye.refractive_index = 1.0;
    lay_lens(s, rad_from_deg(45.0));
    s.motion.tilt_rad = {0.0, rad_from_deg(tilt)};
    const auto centres = dot_centres(s);
    REQUIRE(centres.size() == 6);
    const double expected = deg_from_rad(std::atan2(1.0, std::cos(rad_from_deg(tilt))));
    CHECK(off_deg(seen_axis_deg(centres), expected) < 0.02);
    if (tilt == 10.0) CHECK(expected - 45.0 == Approx(0.439).margin(0.001));
  }
}

TEST_CASE("Each dot lies where Snell's law shows it") {
  Scene s = plain_scene();
  lay_lens(s, 0.0);
  const auto centres = dot_centres(s);
  REQUIRE(centres.size() == 6);
  const double scale = s.camera.width / s.microscope.field_mm;
  for (int k = 0; k < 3; ++k) {
    const double true_mm = s.lens.mark_radius_mm - k * s.lens.dot_gap_mm;
    const double seen_mm = apparent_height(true_mm, s.eye.corneal_radius_mm, s.eye.refractive_index,
                                           s.eye.lens_depth_mm);
    const double left =
        (0.5 * (s.camera.width - 1) - centres[static_cast<std::size_t>(k)].x()) / scale;
    const double right =
        (centres[static_cast<std::size_t>(5 - k)].x() - 0.5 * (s.camera.width - 1)) / scale;
    CHECK(left == Approx(seen_mm).margin(0.004));
    CHECK(right == Approx(seen_mm).margin(0.004));
  }
}

TEST_CASE("With tilt, refraction and decentration the dots lie where the forward projection says",
          "[long]") {
  // The picture is drawn by following the lines of sight backwards in single precision; the
  // projection goes forwards by Newton's method. Both must meet, for every superior side and
  // mirrored.
  for (const Superior superior :
       {Superior::Top, Superior::Bottom, Superior::Left, Superior::Right}) {
    for (const bool mirrored : {false, true}) {
      Scene s = plain_scene();
      s.microscope.superior = superior;
      s.microscope.mirrored = mirrored;
      s.lens.decentre_mm = {0.2, -0.15};
      s.lens.tilt_rad = {0.05, -0.03};
      s.motion.tilt_rad = {rad_from_deg(4.0), rad_from_deg(-6.0)};
      s.motion.torsion_rad = rad_from_deg(3.0);
      lay_lens(s, rad_from_deg(28.0));
      const auto centres = dot_centres(s);
      REQUIRE(centres.size() == 6);
      const Stage stage(s);
      const Instant now = stage.at(0.0);
      const LensAxes axes = lens_axes(now.lens, s.lens, now.view.surfaces());
      CHECK(std::atan2(axes.along.y(), axes.along.x()) == Approx(rad_from_deg(28.0)).margin(1e-12));
      for (const double end : {1.0, -1.0})
        for (int k = 0; k < 3; ++k) {
          const Eigen::Vector3d at =
              axes.centre + end * (s.lens.mark_radius_mm - k * s.lens.dot_gap_mm) * axes.along;
          const Eigen::Vector2d px = now.view.project_inside(at);
          double nearest = 1e9;
          for (const auto& c : centres) nearest = std::min(nearest, (c - px).norm());
          // At 32 px/mm, 0.02 degrees at the marks are 0.03 px.
          CHECK(nearest < 0.03);
        }
    }
  }
}

TEST_CASE("The cornea magnifies the pupil as the handbook's formula says") {
  // References T44: m = 1/(1 - dF/1336), F 43 D, d 3.6 mm gives 1.1311 (formula seen, figures
  // computed); paraxial, so a small pupil.
  Scene s = plain_scene();
  s.has_lens = false;
  s.microscope.field_mm = 6.0;
  s.eye.refractive_index = 1.336;
  s.eye.corneal_radius_mm = 336.0 / 43.0;
  s.eye.iris_depth_mm = 3.6;
  s.eye.pupil_mm = 1.6;
  s.reflex.brightness = 1.0;
  const std::vector<Vec4> lit = light_of(Stage(s), 0.0);
  s.reflex.brightness = 0.0;
  const std::vector<Vec4> unlit = light_of(Stage(s), 0.0);
  const std::size_t middle = lit.size() / 2 + static_cast<std::size_t>(s.camera.width) / 2;
  double area = 0.0;
  for (std::size_t i = 0; i < lit.size(); ++i)
    area += static_cast<double>((lit[i][0] - unlit[i][0]) / (lit[middle][0] - unlit[middle][0]));
  const double scale = s.camera.width / s.microscope.field_mm;
  const double seen_mm = 2.0 * std::sqrt(area / angle::pi) / scale;
  CHECK(seen_mm / s.eye.pupil_mm == Approx(1.1311).epsilon(0.006));
}

TEST_CASE("The limbus has the size of published anatomy and the truth says where it is") {
  // Ruefer 2005 (references H1): 11.71 +/- 0.42 mm across; ruler study (H6): 10.44 / 11.25 = 0.928.
  Scene s = plain_scene();
  s.eye.iris = Iris::DarkBrown;
  lay_lens(s, 0.0);
  const std::vector<Vec4> light = light_of(Stage(s), 0.0);
  const double scale = s.camera.width / s.microscope.field_mm;
  const auto at = [&](double x, double y) {
    const auto column =
        static_cast<std::size_t>(std::lround(0.5 * (s.camera.width - 1) + x * scale));
    const auto row = static_cast<std::size_t>(std::lround(0.5 * (s.camera.height - 1) - y * scale));
    return static_cast<double>(light[row * static_cast<std::size_t>(s.camera.width) + column][0]);
  };
  // The middle of the transition, averaged over a fan of directions about one of the ellipse's
  // axes.
  const auto edge = [&](double meridian) {
    double sum = 0.0;
    int count = 0;
    for (double fan = -12.0; fan <= 12.0; fan += 0.5, ++count) {
      const double m = meridian + rad_from_deg(fan);
      const double a = 0.5 * s.eye.white_to_white_mm;
      const double b = a * s.eye.limbus_ratio;
      const double expected = 1.0 / std::hypot(std::cos(m) / a, std::sin(m) / b);
      const double inner = at((expected - 0.8) * std::cos(m), (expected - 0.8) * std::sin(m));
      const double outer = at((expected + 0.8) * std::cos(m), (expected + 0.8) * std::sin(m));
      double r = expected - 0.8;
      while (at(r * std::cos(m), r * std::sin(m)) < 0.5 * (inner + outer)) r += 0.005;
      sum += r / expected;
    }
    return sum / count;
  };
  const double across = s.eye.white_to_white_mm * 0.5 * (edge(0.0) + edge(angle::pi));
  const double upright = s.eye.white_to_white_mm * s.eye.limbus_ratio * 0.5 *
                         (edge(0.5 * angle::pi) + edge(1.5 * angle::pi));
  CHECK(across == Approx(11.71).margin(0.12));
  CHECK(upright / across == Approx(0.928).margin(0.01));
  const LimbusInPicture limbus = limbus_in(Stage(s).at(0.0).view);
  CHECK(limbus.radius_px == Approx(0.25 * (11.71 + 11.71 * 0.928) * scale).margin(0.01));
  CHECK(limbus.centre_px.x() == Approx(0.5 * (s.camera.width - 1)).margin(1e-6));
}

TEST_CASE("A tilted limbus is foreshortened by the cosine") {
  // References T46: limbal ratio .98481 at 10 degrees.
  Scene s = plain_scene();
  s.eye.limbus_ratio = 1.0;
  const double flat = limbus_in(Stage(s).at(0.0).view).radius_px;
  s.motion.tilt_rad = {0.0, rad_from_deg(10.0)};
  const double tilted = limbus_in(Stage(s).at(0.0).view).radius_px;
  CHECK(tilted / flat == Approx(0.5 * (1.0 + 0.98481)).margin(1e-5));
}

TEST_CASE("Ink lies on its meridian of an eye whose limbus is a turned ellipse") {
  Scene s = plain_scene();
  s.camera.width = s.camera.height = 720;
  s.eye.limbus_ratio = 0.88;
  s.eye.limbus_turn_rad = rad_from_deg(GENERATE(-30.0, 0.0, 12.0, 45.0));
  s.reference = Reference::Ink;
  s.ink.meridians_rad = {rad_from_deg(25.0), rad_from_deg(205.0)};
  s.ink.errors_rad = {0.0, 0.0};
  const std::vector<Vec4> marked = light_of(Stage(s), 0.0);
  s.ink.strength = 0.0;
  const std::vector<Vec4> clean = light_of(Stage(s), 0.0);
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  Eigen::Vector3d left = Eigen::Vector3d::Zero();
  for (int y = 0; y < 720; ++y)
    for (int x = 0; x < 720; ++x) {
      const auto i = static_cast<std::size_t>(720 * y + x);
      const double dye = static_cast<double>(clean[i][1] - marked[i][1]);
      (x > 360 ? right : left) += dye * Eigen::Vector3d(x, y, 1.0);
    }
  const Eigen::Vector2d across = right.head<2>() / right.z() - left.head<2>() / left.z();
  // The dye's grain moves its centroid by a few hundredths of a degree.
  CHECK(off_deg(deg_from_rad(std::atan2(-across.y(), across.x())), 25.0) < 0.1);
}

TEST_CASE("A lamp's reflection follows the cornea's centre of curvature") {
  // A far lamp's reflection sits where the normal halves the angle between lamp and sight: fixed to
  // the centre of curvature, which a tilt moves against the limbus by its depth times the sine.
  Scene s = plain_scene();
  s.microscope.lamps = 1;
  const double scale = s.camera.width / s.microscope.field_mm;
  const auto offset = [&](double tilt_rad) {
    s.motion.tilt_rad = {0.0, tilt_rad};
    const Stage stage(s);
    const Instant now = stage.at(0.0);
    return stage.glints(now).at(0).x_px - limbus_in(now.view).centre_px.x();
  };
  const Surfaces surfaces = surfaces_of(s.eye);
  const double moved = (offset(rad_from_deg(5.0)) - offset(0.0)) / scale;
  CHECK(moved == Approx(surfaces.cornea_centre_z * std::sin(rad_from_deg(5.0))).margin(1e-6));
}

TEST_CASE("The eye's rotation is that of its meridians, tilted or not") {
  Pose p;
  p.torsion_rad = rad_from_deg(7.0);
  CHECK(deg_from_rad(eye_rotation(p)) == Approx(7.0));
  p.tilt_x_rad = rad_from_deg(8.0);
  CHECK(deg_from_rad(eye_rotation(p)) == Approx(7.0).margin(0.2));
}
