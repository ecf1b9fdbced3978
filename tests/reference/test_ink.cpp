// Ink marks painted into the colour of a ring at known meridians.
#include <catch2/catch.hpp>
#include <cmath>

#include "reference/ink.h"

using namespace rhumb;

namespace {

constexpr double rad = M_PI / 180.0;

// A ring of 768 x 64 whose cb carries noise, a slow wave of colour, and marks: bells of 1.2 degrees
// from 0.95 to 1.2 limbal radii.
struct Mark {
  double deg;
  double strength;  // grey levels of cb
};

eye::EyeAtlas ring_with(const std::vector<Mark>& marks, unsigned seed) {
  eye::EyeAtlas atlas;
  atlas.ring_cb = cv::Mat(64, 768, CV_32FC1);
  cv::RNG(seed).fill(atlas.ring_cb, cv::RNG::NORMAL, -6.0, 0.8);
  atlas.ring_luma = cv::Mat(64, 768, CV_32FC1, cv::Scalar(120));
  atlas.ring_cr = cv::Mat::zeros(64, 768, CV_32FC1);
  atlas.ring_seen = cv::Mat::ones(64, 768, CV_32FC1);
  for (int k = 0; k < 64; ++k) {
    const double r = 0.72 + 0.88 * k / 63.0;
    atlas.radii.push_back(r);
    for (int i = 0; i < 768; ++i) {
      const double at = i * 360.0 / 768.0;
      double value = 1.5 * std::sin(2.0 * at * rad);
      for (const Mark& mark : marks) {
        const double d = std::remainder(at - mark.deg, 360.0) / 1.2;
        if (r > 0.95 && r < 1.2) value += mark.strength * std::exp(-0.5 * d * d);
      }
      atlas.ring_cb.at<float>(k, i) += static_cast<float>(value);
    }
  }
  return atlas;
}

const std::vector<double> three = {0.0, 90.0 * rad, 180.0 * rad};

}  // namespace

TEST_CASE("the marks' own mean is the reference, each with equal weight") {
  // Placed at 0.4, 90 - 0.5, 180 + 0.7 degrees, mean error 0.2, all turned by 7 degrees; of
  // different strength.
  const auto ring = ring_with({{7.4, 5.0}, {96.5, 2.0}, {187.7, 9.0}}, 1);
  const auto ink = reference::find_ink(ring, three);
  REQUIRE(ink.found);
  CHECK(ink.zero_rad / rad == Approx(-7.2).margin(0.1));
  const double expected[] = {0.2, -0.7, 0.5};
  for (int i = 0; i < 3; ++i) {
    CHECK(ink.marks[i].found);
    CHECK(ink.marks[i].residual_rad / rad == Approx(expected[i]).margin(0.15));
    CHECK_FALSE(ink.marks[i].disagrees);
  }
  // Of this, the limbus centre's uncertainty, through the mark without an opposite one, is the
  // largest part.
  CHECK(ink.se_rad / rad > 0.03);
  CHECK(ink.se_rad / rad < 0.4);
}

TEST_CASE("two opposite marks do not depend on the limbus centre") {
  const std::vector<double> two = {0.0, 180.0 * rad};
  const auto ink = reference::find_ink(ring_with({{351.0, 4.0}, {170.6, 4.0}}, 2), two);
  REQUIRE(ink.found);
  CHECK(ink.zero_rad / rad == Approx(9.2).margin(0.1));
  // What the dye itself leaves of two marks is 0.2 / sqrt(2); the centre adds next to nothing.
  CHECK(ink.se_rad / rad > 0.14);
  CHECK(ink.se_rad / rad < 0.17);
}

TEST_CASE("two opposite marks stand against a limbus whose centre is hardly known") {
  const std::vector<double> two = {0.0, 180.0 * rad};
  eye::EyeAtlas ring = ring_with({{351.0, 4.0}, {170.6, 4.0}}, 2);
  ring.limbus.centre_cov = Eigen::Matrix2d::Identity() * (0.05 * 0.05);
  const auto ink = reference::find_ink(ring, two);
  REQUIRE(ink.found);
  CHECK(ink.marks[1].found);
  CHECK(ink.zero_rad / rad == Approx(9.2).margin(0.1));
  CHECK(ink.se_rad / rad < 0.17);
}

TEST_CASE("one mark of two carries the other's placing and the limbus centre's error") {
  const std::vector<double> two = {0.0, 180.0 * rad};
  eye::EyeAtlas ring = ring_with({{7.0, 5.0}}, 2);
  const auto ink = reference::find_ink(ring, two);
  REQUIRE(ink.found);
  CHECK_FALSE(ink.marks[1].found);
  // Closed form: dye 0.2, placing 0.69 / sqrt(2), centre 0.006 / 1.08 limbal radii.
  CHECK(ink.se_rad / rad ==
        Approx(std::sqrt(0.2 * 0.2 + 0.486 * 0.486 + 0.318 * 0.318)).margin(0.05));
  // The mark lies on the x axis of the atlas: only the centre's error across it turns it.
  ring.limbus.centre_cov << 0.05 * 0.05, 0.0, 0.0, 0.006 * 0.006;
  CHECK(reference::find_ink(ring, two).se_rad / rad < 0.8);
  ring.limbus.centre_cov << 0.006 * 0.006, 0.0, 0.0, 0.05 * 0.05;
  CHECK(reference::find_ink(ring, two).se_rad / rad > 2.5);
}

TEST_CASE("a mark is counted about the limbus's centre, wherever the atlas has its own") {
  const std::vector<double> two = {0.0, 180.0 * rad};
  eye::EyeAtlas ring = ring_with({{7.0, 5.0}}, 2);
  const double about_atlas = reference::find_ink(ring, two).zero_rad;
  ring.limbus.centre = {0.0, 0.02};
  // 0.02 / 1.08 cos 7 degrees: 1.05 degrees.
  CHECK((reference::find_ink(ring, two).zero_rad - about_atlas) / rad == Approx(1.05).margin(0.02));
}

TEST_CASE("a mark that disagrees is named") {
  const auto ink = reference::find_ink(ring_with({{3.0, 5.0}, {93.0, 5.0}, {189.5, 5.0}}, 3), three,
                                       std::nullopt, {0.14, 0.02});
  REQUIRE(ink.found);
  CHECK_FALSE(ink.marks[0].disagrees);
  CHECK(ink.marks[2].disagrees);
}

TEST_CASE("without ink nothing is found, and the reason is said") {
  int found = 0;
  for (unsigned seed = 10; seed < 30; ++seed) {
    const auto ink = reference::find_ink(ring_with({}, seed), three);
    found += ink.found ? 1 : 0;
    if (!ink.found) CHECK_FALSE(ink.why_not.empty());
  }
  CHECK(found <= 1);
}

TEST_CASE("ink at the planned axis is measured and takes no part") {
  const std::vector<double> two = {0.0, 180.0 * rad};
  const auto ring = ring_with({{2.0, 5.0}, {182.0, 5.0}, {41.0, 5.0}}, 4);
  const auto with = reference::find_ink(ring, two, 40.0 * rad);
  const auto without = reference::find_ink(ring, two);
  REQUIRE(with.target);
  CHECK(with.zero_rad == without.zero_rad);
  CHECK(with.target->residual_rad / rad == Approx(-1.0).margin(0.15));
}
