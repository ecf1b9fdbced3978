// The optic's edge, drawn with OpenCV's own circles; what else runs round the pupil is none.
#include "lens/optic_edge.h"

#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

using namespace rhumb::lens;

namespace {

const PatchGeometry geometry;
constexpr double optic_radius = 0.55;

// A glow in averaged noise, to draw on.
cv::Mat1f glow(std::uint64_t seed = 3) {
  cv::Mat1f luma(geometry.size_px, geometry.size_px, 110.0F);
  cv::Mat1f noise(luma.size());
  cv::RNG(seed).fill(noise, cv::RNG::NORMAL, 0.0, 0.5);
  luma += noise;
  return luma;
}

void draw_arc(cv::Mat1f& luma, const Eigen::Vector2d& centre, double radius, int degrees,
              double change) {
  constexpr int shift = 4, fine = 1 << shift;
  const Eigen::Vector2d at = fine * geometry.pixel_from(centre);
  const auto r = static_cast<int>(std::lround(fine * radius * geometry.pixels_per_radius));
  cv::Mat1b line(luma.size(), 0);
  cv::ellipse(line, {cvRound(at.x()), cvRound(at.y())}, {r, r}, 0, 20, 20 + degrees,
              cv::Scalar(255), 2, cv::LINE_AA, shift);
  cv::Mat1f drawn;
  line.convertTo(drawn, CV_32F, change / 255.0);
  luma += drawn;
}

cv::Mat1b disc(double radius) {
  cv::Mat1b out(geometry.size_px, geometry.size_px, static_cast<std::uint8_t>(0));
  const Eigen::Vector2d at = geometry.pixel_from({0.0, 0.0});
  cv::circle(out, {cvRound(at.x()), cvRound(at.y())}, cvRound(radius * geometry.pixels_per_radius),
             cv::Scalar(255), cv::FILLED);
  return out;
}

OpticEdge found_in(const cv::Mat1f& luma, const cv::Mat1b& inside = {}) {
  const cv::Mat1b usable(luma.size(), static_cast<std::uint8_t>(255));
  return find_optic_edge(luma, usable, inside, geometry, optic_radius);
}

}  // namespace

TEST_CASE("an optic's edge is found where it lies, lighter or darker than the glow") {
  for (const double change : {12.0, -12.0}) {
    for (const Eigen::Vector2d& centre :
         {Eigen::Vector2d(0.0, 0.0), Eigen::Vector2d(-0.05, 0.03)}) {
      cv::Mat1f luma = glow();
      draw_arc(luma, centre, 1.03 * optic_radius, 250, change);
      const OpticEdge optic = found_in(luma);
      CAPTURE(change, centre.x(), optic.share);
      CHECK(optic.share > 0.55);
      CHECK(optic.share < 0.8);  // 250 of 360 degrees are 0.69
      CHECK((optic.centre - centre).norm() < 0.025);
      CHECK(optic.radius == Approx(1.03 * optic_radius).margin(0.012));
      CHECK(optic.room > 0.99);
    }
  }
}

TEST_CASE("a bare glow, a smaller circle and a step are no optic") {
  CHECK(found_in(glow()).share < 0.05);
  cv::Mat1f rhexis = glow();  // 5 mm where the optic has 6
  draw_arc(rhexis, {0.0, 0.0}, 5.0 / 6.0 * optic_radius, 360, 12.0);
  CHECK(found_in(rhexis).share < 0.2);
  cv::Mat1f step = glow();  // the edge of haze: lighter on one side only
  step.setTo(125.0, disc(optic_radius) == 0);
  CHECK(found_in(step).share < 0.1);
}

TEST_CASE("what lies outside the pupil or under glare counts as neither") {
  cv::Mat1f luma = glow();
  draw_arc(luma, {0.0, 0.0}, optic_radius, 360, 12.0);
  const OpticEdge hidden = found_in(luma, disc(0.39));
  CHECK(hidden.share == 0.0);
  CHECK(hidden.room == 0.0);
  cv::Mat1b half(luma.size(), static_cast<std::uint8_t>(255));
  half.colRange(half.cols / 2, half.cols).setTo(0);
  const OpticEdge seen = found_in(luma, half);
  CHECK(seen.share == Approx(0.5).margin(0.06));
  CHECK(seen.room == Approx(0.5).margin(0.06));
}
