// Which of several nested rings is the limbus, in pictures drawn here: glow, haze beyond the
// rhexis, iris and sclera, with steps as an eye with a clear rhexis and a pale iris has them.
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "eye/limbus.h"

namespace {

using namespace rhumb;

struct Colour {
  double luma = 0.0, cb = 0.0, cr = 0.0;  // cb and cr about 0
};

struct Rings {
  cv::Point2d centre{638.0, 330.0};
  double rhexis_px = 122.0, pupil_px = 161.0, limbus_px = 235.0;
  Colour glow{100.0, -22.0, 37.0};
  Colour haze{132.0, -19.0, 36.0};
  Colour iris{160.0, 0.0, -1.0};
  Colour sclera{178.0, -4.0, 6.0};
  double rim_px = 0.0;    // a rim of lids or speculum about the same centre; 0: none
  double rim_step = 0.0;  // relative brightening across it
};

struct Planes {
  cv::Mat luma, cb, cr;
};

Planes draw(const Rings& rings) {
  const cv::Size size(1280, 720);
  std::array<cv::Mat1f, 3> plane;
  for (cv::Mat1f& one : plane) one.create(size);
  const auto step = [](double r, double edge, double soft) {
    return 0.5 * (1.0 + std::erf((r - edge) / soft));
  };
  for (int y = 0; y < size.height; ++y) {
    for (int x = 0; x < size.width; ++x) {
      const double dx = x - rings.centre.x, dy = y - rings.centre.y;
      const double r = std::hypot(dx, dy);
      const double hazy = step(r, rings.rhexis_px, 2.0);
      const double iris = step(r, rings.pupil_px, 2.0);
      const double white = step(r, rings.limbus_px, 0.06 * rings.limbus_px);
      // Fibres of the iris, and light that falls from one side.
      const double fibre = 6.0 * std::sin(40.0 * std::atan2(dy, dx)) * iris * (1.0 - white);
      // Two thirds of the rim show.
      const double rim = rings.rim_px > 0.0 && dy > -0.5 * r ? step(r, rings.rim_px, 8.0) : 0.0;
      const double shade = (1.0 + 0.1 * dx / size.width) * (1.0 + rings.rim_step * rim);
      const auto mixed = [&](double Colour::*part) {
        double value = rings.glow.*part;
        value += hazy * (rings.haze.*part - value);
        value += iris * (rings.iris.*part - value);
        return value + white * (rings.sclera.*part - value);
      };
      plane[0](y, x) = static_cast<float>(shade * (mixed(&Colour::luma) + fibre));
      plane[1](y, x) = static_cast<float>(128.0 + mixed(&Colour::cb));
      plane[2](y, x) = static_cast<float>(128.0 + mixed(&Colour::cr));
    }
  }
  cv::RNG rng(5);
  cv::Mat1f grain(size);
  rng.fill(grain, cv::RNG::NORMAL, 0.0, 3.0);
  plane[0] += grain;
  Planes out;
  plane[0].convertTo(out.luma, CV_8U);
  for (std::size_t k = 1; k < 3; ++k) {
    cv::Mat half;
    cv::resize(plane[k], half, {}, 0.5, 0.5, cv::INTER_AREA);
    half.convertTo(k == 1 ? out.cb : out.cr, CV_8U);
  }
  return out;
}

void check_limbus(const Rings& rings, double share) {
  const Planes planes = draw(rings);
  const auto found = eye::find_limbus(planes.luma, planes.cb, planes.cr, {});
  REQUIRE(found);
  CHECK(found->mean_radius_px() == Approx(rings.limbus_px).epsilon(share));
  CHECK(std::hypot(found->centre_px.x() - rings.centre.x, found->centre_px.y() - rings.centre.y) <
        share * rings.limbus_px);
}

}  // namespace

TEST_CASE(
    "with rhexis and pupil in it the third ring is the limbus, though its step is the least") {
  check_limbus({}, 0.03);
}

TEST_CASE("a brown iris, whose colour lies between glow and sclera, is no glow") {
  Rings brown;
  brown.iris = {70.0, -10.0, 14.0};
  brown.sclera = {140.0, -4.0, 6.0};
  brown.rim_px = 320.0;
  brown.rim_step = 0.25;
  check_limbus(brown, 0.03);
}

TEST_CASE("a limbus of which a part lies outside the picture is not given up for the pupil") {
  Rings cut;
  cut.centre = {340.0, 235.0};
  cut.rhexis_px = 150.0;
  cut.pupil_px = 210.0;
  cut.limbus_px = 310.0;
  check_limbus(cut, 0.04);
}

TEST_CASE("the pupil holds the limbus's centre where half of it shows, and hardly where all does") {
  // How far a pupil 0.14 of the radius beside the centre draws it, in shares of the radius.
  const auto drawn = [](const Rings& rings) {
    const Planes planes = draw(rings);
    eye::LimbusEllipse near;
    near.centre_px = {rings.centre.x, rings.centre.y};
    near.semi_major_px = near.semi_minor_px = rings.limbus_px;
    eye::LimbusOptions options;
    const auto free = eye::refine_limbus(planes.luma, planes.cb, planes.cr, near, options);
    options.pupil_px = near.centre_px - Eigen::Vector2d(0.1, 0.1) * rings.limbus_px;
    const auto held = eye::refine_limbus(planes.luma, planes.cb, planes.cr, near, options);
    REQUIRE(free);
    REQUIRE(held);
    return (held->centre_px - free->centre_px).norm() / rings.limbus_px;
  };
  Rings half;
  half.centre = {180.0, 160.0};
  half.rhexis_px = 150.0;
  half.pupil_px = 204.0;
  half.limbus_px = 286.0;
  Rings whole = half;
  whole.centre = {640.0, 360.0};
  CHECK(drawn(half) > 0.01);
  CHECK(drawn(whole) < 0.005);
}
