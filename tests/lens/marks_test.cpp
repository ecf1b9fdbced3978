// Marks drawn at known angles are found again.
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "lens/axis_search.h"
#include "lens/drawn_patch.h"
#include "lens/mark_template.h"
#include "lens/pupil.h"

using namespace rhumb;
using namespace rhumb::lens;

namespace {

Patch drawn(double axis_deg, const Eigen::Vector2d& centre, bool hide_second_end, int ink_luma,
            int ink_saturation, std::uint64_t seed = 7) {
  std::vector<double> meridians_deg = {axis_deg};
  if (!hide_second_end) meridians_deg.push_back(axis_deg + 180.0);
  return lens_test::drawn_patch(meridians_deg, centre, {ink_luma, ink_saturation}, seed);
}

// The same with the bright edge of a rhexis across the marks, about another centre than the lens's,
// and a reflex on that edge.
Patch with_bright_edge(Patch patch) {
  const PatchGeometry geometry;
  const Eigen::Vector2d centre = geometry.pixel_from({-0.13, 0.09});
  cv::Mat edge(patch.luma.size(), CV_8UC1, cv::Scalar(0));
  cv::circle(edge, cv::Point2d(centre.x(), centre.y()),
             static_cast<int>(0.45 * geometry.pixels_per_radius), cv::Scalar(50), 2, cv::LINE_AA);
  patch.luma += edge;
  // The microscope's reflex lies on it.
  const double r = 0.45 * geometry.pixels_per_radius;
  cv::circle(patch.luma, cv::Point2d(centre.x(), centre.y() - r), 5, cv::Scalar(250), cv::FILLED,
             cv::LINE_AA);
  patch.saturation -= 0.5 * edge;
  return patch;
}

int best_axis(const Patch& patch, MarkLook look, const Marks& marks) {
  const PatchGeometry geometry;
  const RadialGrid grid;
  const ContrastMap map = contrast_map(patch, geometry, {});
  const bool light = look == MarkLook::LightAndGrey;
  const auto scores =
      search_axis(light ? map.for_light_marks() : map, {}, geometry, grid, {}, std::span(&marks, 1))
          .front();
  return static_cast<int>(std::max_element(scores.total.begin(), scores.total.end()) -
                          scores.total.begin());
}

}  // namespace

TEST_CASE("the search finds the axis of dark, grey and light marks about a decentred lens") {
  for (const int axis : {3, 45, 90, 177}) {
    CAPTURE(axis);
    struct Drawn {
      MarkLook look;
      Eigen::Vector2d centre;
      int luma;
      int saturation;
    };
    // The last are much lighter than the glow, and much darker: neither is a reflex or an
    // instrument.
    for (const Drawn& d : {Drawn{MarkLook::DarkAndGrey, {0.04, -0.03}, 80, 45},
                           Drawn{MarkLook::Grey, {-0.05, 0.02}, 120, 30},
                           Drawn{MarkLook::LightAndGrey, {0.0, 0.05}, 130, 30},
                           Drawn{MarkLook::LightAndGrey, {0.0, 0.05}, 170, 30},
                           Drawn{MarkLook::DarkAndGrey, {0.0, 0.05}, 40, 30}}) {
      const Patch patch = drawn(axis, d.centre, false, d.luma, d.saturation);
      CAPTURE(d.luma, d.saturation);
      CHECK(best_axis(patch, d.look, uninformed_profile(d.look, 0.58, RadialGrid{})) ==
            Approx(axis).margin(1));
      CHECK(best_axis(patch, d.look, pattern_of(d.look, {true, 1, 0.58}, RadialGrid{})) ==
            Approx(axis).margin(
                3));  // within the four degrees from which the template finds the rest
    }
  }
}

TEST_CASE("a template measures a small turn of its own marks to a tenth of a degree") {
  const PatchGeometry geometry;
  const RadialGrid grid;
  const StripGeometry strip;
  const Eigen::Vector2d centre(0.02, 0.01);
  TemplateBuilder builder(grid, strip);
  const auto strip_of = [&](double drawn_deg, double about_deg, std::uint64_t seed) {
    const auto map = contrast_map(drawn(drawn_deg, centre, false, 80, 45, seed), geometry, {});
    return mark_strip(map, {}, geometry, centre, angle::rad_from_deg(about_deg), grid, strip);
  };
  for (std::uint64_t seed = 1; seed <= 12; ++seed) builder.add(strip_of(60.0, 60.0, seed), 1.0F);
  const MarkTemplate mark = builder.build();
  CHECK(angle::deg_from_rad(symmetric_angle(mark, strip)) == Approx(0.0).margin(0.08));
  for (const double turn : {-2.0, -1.5, -0.4, -0.15, 0.25, 0.4, 1.5, 2.0}) {
    const TurnEstimate found = turn_of(strip_of(60.0 + turn, 60.0, 99), mark, strip);
    CAPTURE(turn);
    CHECK(angle::deg_from_rad(found.turn_rad) == Approx(turn).margin(0.1));
    CHECK(found.gain == Approx(1.0).margin(0.25));
  }
}

TEST_CASE(
    "a bright edge that runs round the eye, a reflex on it, hides neither end of faint marks") {
  const PatchGeometry geometry;
  const RadialGrid grid;
  const StripGeometry strip;
  const Eigen::Vector2d centre(0.02, 0.01);
  for (const double axis : {15.0, 60.0, 130.0}) {
    CAPTURE(axis);
    const auto picture = [&](std::uint64_t seed) {
      return with_bright_edge(drawn(axis, centre, false, 120, 72, seed));
    };
    const ContrastMap map = contrast_map(picture(7), geometry, {});
    const Marks marks = pattern_of(MarkLook::Grey, {true, 1, 0.58}, grid);
    const AxisScores scores =
        search_axis(map, {}, geometry, grid, {}, std::span(&marks, 1)).front();
    const auto best = std::max_element(scores.total.begin(), scores.total.end());
    CHECK(static_cast<double>(best - scores.total.begin()) == Approx(axis).margin(3));
    CHECK(*best > 6.0F);
    std::array<TemplateBuilder, 2> ends{TemplateBuilder(grid, strip), TemplateBuilder(grid, strip)};
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
      const ContrastMap one = contrast_map(picture(seed), geometry, {});
      for (std::size_t end = 0; end < 2; ++end)
        ends[end].add(
            mark_strip(one, {}, geometry, centre,
                       angle::rad_from_deg(axis + 180.0 * static_cast<double>(end)), grid, strip),
            1.0F);
    }
    CHECK(likeness(ends[0].build(), ends[1].build()) > 0.5);
    CHECK(angle::deg_from_rad(symmetric_angle(ends[0].build(), strip)) == Approx(0.0).margin(0.25));
  }
}

TEST_CASE("a strip without marks says that it shows none") {
  const PatchGeometry geometry;
  const RadialGrid grid;
  const StripGeometry strip;
  const Eigen::Vector2d centre(0.02, 0.01);
  TemplateBuilder builder(grid, strip);
  const auto end_b_of = [&](bool hidden, std::uint64_t seed) {
    const auto map = contrast_map(drawn(60.0, centre, hidden, 80, 45, seed), geometry, {});
    return mark_strip(map, {}, geometry, centre, angle::rad_from_deg(240.0), grid, strip);
  };
  for (std::uint64_t seed = 1; seed <= 12; ++seed) builder.add(end_b_of(false, seed), 1.0F);
  const MarkTemplate mark = builder.build();
  for (const std::uint64_t seed : {31, 32, 33}) {
    CAPTURE(seed);
    CHECK(turn_of(end_b_of(false, seed), mark, strip).gain > 0.8);
    CHECK(turn_of(end_b_of(true, seed), mark, strip).gain < 0.2);
  }
}

TEST_CASE("two ends of one lens are alike, an end without marks is not") {
  const PatchGeometry geometry;
  const RadialGrid grid;
  const StripGeometry strip;
  // Off along the axis: the marks lie nearer at one end than at the other.
  const Eigen::Vector2d centre(0.02, 0.034);
  const auto end_of = [&](double meridian_deg, bool hidden) {
    TemplateBuilder builder(grid, strip);
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
      const auto map =
          contrast_map(drawn(60.0, centre, hidden, 80, 45, seed), geometry, ContrastOptions{});
      builder.add(
          mark_strip(map, {}, geometry, {0.0, 0.0}, angle::rad_from_deg(meridian_deg), grid, strip),
          1.0F);
    }
    return builder.build();
  };
  CHECK(likeness(end_of(60.0, false), end_of(240.0, false)) > 0.8);
  CHECK(likeness(end_of(60.0, true), end_of(240.0, true)) < 0.4);
  CHECK(power(end_of(60.0, true)) > 3.0 * power(end_of(240.0, true)));
}

TEST_CASE("the pupil's edge is found where it was drawn") {
  const PatchGeometry geometry;
  cv::Mat patch(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(60));
  const Eigen::Vector2d centre = geometry.pixel_from({0.03, -0.02});
  cv::circle(patch, cv::Point2d(centre.x(), centre.y()), 64, cv::Scalar(130), cv::FILLED,
             cv::LINE_AA);
  const auto pupil = find_pupil(patch, {}, geometry);
  REQUIRE(pupil);
  CHECK(pupil->radius == Approx(64.0 / geometry.pixels_per_radius).margin(0.012));
  CHECK(pupil->centre.x() == Approx(0.03).margin(0.012));
  CHECK(pupil->centre.y() == Approx(-0.02).margin(0.012));
}

TEST_CASE("a bright line round the glow is no pupil's edge, nor is an edge inside the pupil") {
  const PatchGeometry geometry;
  const Eigen::Vector2d middle = geometry.pixel_from({0.0, 0.0});
  const cv::Point2d centre(middle.x(), middle.y());
  const auto radius = [&](double radii) {
    return static_cast<int>(std::lround(radii * geometry.pixels_per_radius));
  };
  cv::Mat patch(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(120));
  cv::circle(patch, centre, radius(0.45), cv::Scalar(170), 3, cv::LINE_AA);
  CHECK_FALSE(find_pupil(patch, {}, geometry));
  // Haze outside the rhexis, and at 0.7 the iris, which is brighter still.
  patch = cv::Scalar(170);
  cv::circle(patch, centre, radius(0.7), cv::Scalar(140), cv::FILLED, cv::LINE_AA);
  cv::circle(patch, centre, radius(0.45), cv::Scalar(105), cv::FILLED, cv::LINE_AA);
  const auto pupil = find_pupil(patch, {}, geometry);
  REQUIRE(pupil);
  CHECK(pupil->radius == Approx(0.7).margin(0.015));
}

TEST_CASE("haze between rhexis and iris is told from the iris by its colour") {
  // As bright as the iris, as the haze beyond a rhexis may be; only the glow is red.
  const PatchGeometry geometry;
  const Eigen::Vector2d middle = geometry.pixel_from({0.0, 0.0});
  const cv::Point2d centre(middle.x(), middle.y());
  const auto disc = [&](cv::Mat& plane, double radii, double value) {
    cv::circle(plane, centre, static_cast<int>(std::lround(radii * geometry.pixels_per_radius)),
               cv::Scalar(value), cv::FILLED, cv::LINE_AA);
  };
  cv::Mat luma(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(132));
  disc(luma, 0.66, 134);
  disc(luma, 0.51, 118);
  cv::Mat saturation(luma.size(), CV_8UC1, cv::Scalar(24));
  disc(saturation, 0.66, 46);
  disc(saturation, 0.51, 58);
  const auto by_luma = find_pupil(luma, {}, geometry);
  REQUIRE(by_luma);
  CHECK(by_luma->radius == Approx(0.51).margin(0.015));
  const auto pupil = find_pupil(luma, saturation, geometry);
  REQUIRE(pupil);
  CHECK(pupil->radius == Approx(0.66).margin(0.015));
}

TEST_CASE("a glow that fades from the middle is no edge, and does not hide the one that is there") {
  const PatchGeometry geometry;
  cv::Mat1b glow(geometry.size_px, geometry.size_px);
  const Eigen::Vector2d middle = geometry.pixel_from({0.0, 0.0});
  const auto from_middle = [&](int x, int y) {
    return std::hypot(x - middle.x(), y - middle.y()) / geometry.pixels_per_radius;
  };
  // From 200 to 100 over the patch: 5 % of the mean between the two sides of a supposed edge.
  for (int y = 0; y < glow.rows; ++y)
    for (int x = 0; x < glow.cols; ++x)
      glow(y, x) = cv::saturate_cast<uchar>(200.0 - 145.0 * from_middle(x, y));
  CHECK_FALSE(find_pupil(glow, {}, geometry));
  for (int y = 0; y < glow.rows; ++y)
    for (int x = 0; x < glow.cols; ++x)
      if (from_middle(x, y) > 0.58) glow(y, x) = cv::saturate_cast<uchar>(glow(y, x) - 12);
  const auto pupil = find_pupil(glow, {}, geometry);
  REQUIRE(pupil);
  CHECK(pupil->radius == Approx(0.58).margin(0.012));
}

TEST_CASE("a bubble lit on one side is left out whole, a round spot no further than it reaches") {
  const PatchGeometry geometry;
  Patch patch;
  patch.luma = cv::Mat(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(120));
  patch.saturation = cv::Mat(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(90));
  const cv::Point bubble(60, 60);
  const cv::Point spot(120, 120);
  constexpr int radius = 8;
  cv::circle(patch.luma, bubble, radius, cv::Scalar(95), cv::FILLED);
  cv::ellipse(patch.luma, bubble, {radius, radius}, 45.0, -90.0, 90.0, cv::Scalar(160), cv::FILLED);
  cv::circle(patch.luma, spot, radius, cv::Scalar(160), cv::FILLED);
  const ContrastMap map = contrast_map(patch, geometry, {});
  for (const double share : {0.5, 0.9}) {
    CAPTURE(share);
    const int off = static_cast<int>(share * radius / std::sqrt(2.0));
    CHECK(map.usable(bubble.y + off, bubble.x + off) == 0);  // lit
    CHECK(map.usable(bubble.y - off, bubble.x - off) == 0);  // dark
  }
  const int beside = radius + 5;  // beyond the margin of the mask
  CHECK(map.usable(spot.y, spot.x) == 0);
  CHECK(map.usable(spot.y, spot.x - beside) != 0);
  CHECK(map.usable(spot.y - beside, spot.x) != 0);
}
