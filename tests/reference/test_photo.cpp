// An upright photograph painted here, matched to an atlas ring painted from the same eye.
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "reference/photo.h"

using namespace rhumb;

namespace {

constexpr double rad = M_PI / 180.0;
constexpr int columns = 768, rows = 64;
constexpr double inner = 0.72, outer = 1.6;

// Brightness of an eye by meridian and radius: iris and sclera with smooth texture of their own,
// a few degrees wide, as fibres and vessels are.
cv::Mat1f texture_of(unsigned seed) {
  cv::Mat1f texture(256, 1440);
  cv::RNG(seed).fill(texture, cv::RNG::NORMAL, 0.0, 1.0);
  cv::Mat wide;
  cv::copyMakeBorder(texture, wide, 0, 0, 32, 32, cv::BORDER_WRAP);
  cv::GaussianBlur(wide, wide, cv::Size(), 4.0, 4.0);
  cv::Mat1f smooth;
  wide.colRange(32, 32 + texture.cols).convertTo(smooth, CV_32F, 14.0 / 0.07);
  return smooth;
}

struct Eye {
  cv::Mat1f texture;
  cv::Mat1f strange;             // what stands in its place from `strange_from` on
  double strange_from = 1000.0;  // degrees

  float at(double meridian_rad, double radius) const {
    double degrees = std::fmod(meridian_rad / rad + 720.0, 360.0);
    const int x = static_cast<int>(degrees * 4.0) % 1440;
    const int y = std::min(255, std::max(0, static_cast<int>(radius / 1.7 * 255.0)));
    const double white = 0.5 * (1.0 + std::erf((radius - 1.0) / 0.04));
    const double pupil = 0.5 * (1.0 - std::erf((radius - 0.5) / 0.02));
    const float grain = degrees >= strange_from ? strange(y, x) : texture(y, x);
    return static_cast<float>(90.0 + 90.0 * white - 60.0 * pupil) + grain;
  }
};

eye::EyeAtlas atlas_of(const Eye& eye) {
  eye::EyeAtlas atlas;
  atlas.ring_luma.create(rows, columns, CV_32FC1);
  atlas.ring_seen = cv::Mat::ones(rows, columns, CV_32FC1);
  for (int k = 0; k < rows; ++k) {
    const double r = inner + (outer - inner) * k / (rows - 1);
    atlas.radii.push_back(r);
    for (int i = 0; i < columns; ++i)
      atlas.ring_luma.at<float>(k, i) = eye.at(2.0 * M_PI * i / columns, r);
  }
  return atlas;
}

// The eye turned clockwise by `turn_rad`, so that eye meridian = atlas angle + turn_rad.
reference::Photo photo_of(const Eye& eye, double turn_rad) {
  constexpr double radius = 260.0;
  reference::Photo photo;
  photo.luma.create(960, 960, CV_8UC1);
  for (int y = 0; y < photo.luma.rows; ++y) {
    for (int x = 0; x < photo.luma.cols; ++x) {
      const double dx = (x - 480.0) / radius, dy = (480.0 - y) / radius;
      photo.luma.at<uchar>(y, x) = cv::saturate_cast<uchar>(
          eye.at(std::atan2(dy, dx) - turn_rad, std::min(1.69, std::hypot(dx, dy))));
    }
  }
  return photo;
}

}  // namespace

TEST_CASE("a photograph of the eye gives the turn that it was painted with") {
  const Eye eye{texture_of(1), texture_of(2)};
  const auto found = reference::find_photo(atlas_of(eye), photo_of(eye, 12.0 * rad), 0.0);
  REQUIRE(found.found);
  CHECK(found.agreeing_sectors == eye::ring_match_sectors);
  CHECK(found.zero_rad / rad == Approx(12.0).margin(0.1));
  CHECK(found.se_rad / rad < 0.1);
}

TEST_CASE("sectors that don't agree widen what a photograph fixes, beyond what they leave out") {
  const Eye eye{texture_of(1), texture_of(2)};
  Eye changed = eye;
  changed.strange_from = 130.0;  // the most of the ring shows something else
  const auto atlas = atlas_of(eye);
  const auto photo = photo_of(changed, 12.0 * rad);
  const auto found = reference::find_photo(atlas, photo, 0.0);
  REQUIRE(found.found);
  CHECK(found.agreeing_sectors < 16);
  CHECK(std::abs(found.zero_rad / rad - 12.0) < 3.0 * found.se_rad / rad);
  const auto match = reference::match_photo(reference::atlas_view(atlas), photo, {});
  REQUIRE(match.sectors_agreeing == found.agreeing_sectors);
  CHECK(found.se_rad / match.rotation_se_rad ==
        Approx(24.0 / found.agreeing_sectors).epsilon(0.01));
}

TEST_CASE("a photograph of another eye is refused, and the reason is said") {
  const Eye eye{texture_of(1), texture_of(2)};
  const Eye other{texture_of(3), texture_of(4)};
  const auto found = reference::find_photo(atlas_of(eye), photo_of(other, 0.0), 0.0);
  CHECK_FALSE(found.found);
  CHECK_FALSE(found.why_not.empty());
}

TEST_CASE("an eye too small to be matched, or outside the picture, is refused") {
  const Eye eye{texture_of(1), texture_of(2)};
  const eye::RingView atlas = reference::atlas_view(atlas_of(eye));
  const cv::Mat luma = photo_of(eye, 0.0).luma;
  const eye::LimbusEllipse small{{480.0, 480.0}, 15.0, 15.0};
  const eye::LimbusEllipse outside{{-4000.0, 480.0}, 260.0, 260.0};
  for (const eye::LimbusEllipse& limbus : {small, outside}) {
    const eye::RingView view = eye::ring_view(luma, {}, {}, limbus);
    for (const auto& match :
         {eye::match_rings(atlas, view, {}), eye::match_rings(view, atlas, {})}) {
      CHECK_FALSE(match.accepted);
      CHECK_FALSE(match.reason.empty());
    }
  }
}
