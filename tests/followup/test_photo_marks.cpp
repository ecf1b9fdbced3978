// Marks of a lens in a photograph, drawn with OpenCV's own circles and lines at known places, so
// that neither the search nor the renderer of this project vouches for them.
#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "followup/choose_marks.h"
#include "followup/mark_search.h"
#include "followup/photo_marks.h"

using namespace rhumb;
using angle::deg_from_rad;
using angle::rad_from_deg;

namespace {

constexpr double limbus_px = 420.0;
const Eigen::Vector2d limbus_at(640.0, 520.0);

struct Drawn {
  double axis_deg = 30;
  Eigen::Vector2d lens{0.04, -0.03};  // limbal radii, y up
  int dots = 3;                       // 0: a line
  bool end_a = true, end_b = true;
  bool reflex = true;
  int seed = 1;
};

cv::Point fine_point(const Eigen::Vector2d& p) {
  const Eigen::Vector2d q = limbus_at + limbus_px * Eigen::Vector2d(p.x(), -p.y());
  return {static_cast<int>(std::lround(q.x() * 16)), static_cast<int>(std::lround(q.y() * 16))};
}

void draw_end(cv::Mat& bgr, const Drawn& d, int side) {
  const double phi = rad_from_deg(d.axis_deg);
  const Eigen::Vector2d u(std::cos(phi), std::sin(phi));
  const cv::Scalar dark(30, 70, 130);
  if (d.dots == 0) {
    cv::line(bgr, fine_point(d.lens + side * 0.40 * u), fine_point(d.lens + side * 0.51 * u), dark,
             7, cv::LINE_AA, 4);
    return;
  }
  for (int k = 0; k < d.dots; ++k)
    cv::circle(bgr, fine_point(d.lens + side * (0.41 + 0.05 * k) * u),
               static_cast<int>(0.013 * limbus_px * 16), dark, cv::FILLED, cv::LINE_AA, 4);
}

reference::Photo drawn(const Drawn& d) {
  cv::Mat bgr(1040, 1280, CV_8UC3, cv::Scalar(190, 200, 205));
  cv::circle(bgr, fine_point({0, 0}), static_cast<int>(limbus_px * 16), cv::Scalar(70, 60, 50),
             cv::FILLED, cv::LINE_AA, 4);
  cv::circle(bgr, fine_point({0, 0}), static_cast<int>(0.64 * limbus_px * 16),
             cv::Scalar(60, 120, 220), cv::FILLED, cv::LINE_AA, 4);
  if (d.end_a) draw_end(bgr, d, 1);
  if (d.end_b) draw_end(bgr, d, -1);
  if (d.reflex) {
    cv::circle(bgr, fine_point({-0.05, 0.1}), 26 * 16, cv::Scalar(255, 255, 255), cv::FILLED,
               cv::LINE_AA, 4);
    cv::circle(bgr, fine_point({0.2, -0.22}), 12 * 16, cv::Scalar(215, 220, 225), cv::FILLED,
               cv::LINE_AA, 4);
  }
  cv::GaussianBlur(bgr, bgr, cv::Size(), 1.5);
  cv::Mat noise(bgr.size(), CV_16SC3), wide;
  cv::RNG rng(static_cast<std::uint64_t>(d.seed));
  rng.fill(noise, cv::RNG::NORMAL, 0, 3);
  bgr.convertTo(wide, CV_16SC3);
  wide += noise;
  wide.convertTo(bgr, CV_8UC3);
  return reference::photo_of(bgr);
}

eye::LimbusEllipse limbus() {
  eye::LimbusEllipse out;
  out.centre_px = limbus_at;
  out.semi_major_px = out.semi_minor_px = limbus_px;
  return out;
}

casefile::LensMarks lens_of(const Drawn& d) {
  casefile::LensMarks out;
  out.marks = d.dots > 0 ? casefile::MarkKind::Dots : casefile::MarkKind::Lines;
  out.marks_per_end = std::max(1, d.dots);
  return out;
}

double off_deg(const followup::MarkCandidate& found, double axis_deg) {
  return deg_from_rad(angle::wrap_deviation(found.direction_rad() - rad_from_deg(axis_deg)));
}

}  // namespace

TEST_CASE("marks drawn at any axis are found and measured", "[long]") {
  for (const int dots : {0, 2, 3, 4})
    for (const double axis : {0.0, 17.3, 88.0, 121.6, 175.0}) {
      Drawn d;
      d.axis_deg = axis;
      d.dots = dots;
      d.seed = static_cast<int>(axis) + dots;
      CAPTURE(dots, axis);
      const auto found = followup::find_marks(drawn(d), limbus(), lens_of(d));
      REQUIRE_FALSE(found.empty());
      CHECK(std::abs(off_deg(found[0], axis)) < 0.15);
      // Along the axis the pattern may slide by part of a piece; across it, it may not.
      const Eigen::Vector2d off = found[0].centre() - d.lens;
      const double phi = rad_from_deg(axis);
      CHECK(std::abs(off.dot(Eigen::Vector2d(-std::sin(phi), std::cos(phi)))) < 0.003);
      CHECK(std::abs(off.dot(Eigen::Vector2d(std::cos(phi), std::sin(phi)))) < 0.03);
      CHECK(found[0].distance ==
            Approx(dots == 0 ? 0.455 : 0.41 + 0.025 * (dots - 1)).margin(0.03));
      CHECK(found[0].se_rad < rad_from_deg(0.3));
    }
}

TEST_CASE("a pupil without marks holds nothing that looks like them", "[long]") {
  for (const int dots : {0, 2, 3})
    for (int seed = 1; seed <= 12; ++seed) {
      Drawn d;
      d.dots = dots;
      d.end_a = d.end_b = false;
      d.seed = seed;
      CAPTURE(dots, seed);
      const auto found = followup::find_marks(drawn(d), limbus(), lens_of(d));
      for (const auto& candidate : found)
        CHECK(candidate.score < followup::least_score(candidate, lens_of(d)));
    }
}

TEST_CASE("one end by itself is no axis, but is one with the lens centre known, and less sure") {
  for (const int dots : {0, 3}) {
    Drawn d;
    d.dots = dots;
    d.axis_deg = 64;
    d.end_b = false;
    CAPTURE(dots);
    for (const auto& candidate : followup::find_marks(drawn(d), limbus(), lens_of(d)))
      CHECK(candidate.score < followup::least_score(candidate, lens_of(d)));
    followup::MarkOptions known;
    known.centre_mean = d.lens + Eigen::Vector2d(0.015, 0.01);
    known.centre_sd = 0.035;
    known.most_decentred = 0.1;
    known.distance_mean = dots == 0 ? 0.455 : 0.46;
    known.distance_sd = 0.02;
    known.known_step = dots == 0 ? 0.0275 : 0.05;
    const auto found = followup::find_one_end(drawn(d), limbus(), lens_of(d), known);
    REQUIRE_FALSE(found.empty());
    CHECK(std::abs(off_deg(found[0], 64)) < 2.5 * deg_from_rad(found[0].se_rad));
    CHECK(found[0].se_rad > rad_from_deg(0.4));
    CHECK(found[0].se_rad < rad_from_deg(4));
  }
}

TEST_CASE("a row of like pieces says more than one strong spot, dark or light") {
  const double row[] = {5, 6, 5}, dark[] = {-5, -6, -5}, lone[] = {0.3, 40, -0.5};
  const double noise[] = {0.4, -0.8, 1.1}, mixed[] = {6, -6, 6};
  CHECK(followup::row_evidence(row, 3) > 8);
  CHECK(followup::row_evidence(dark, 3) == Approx(followup::row_evidence(row, 3)));
  CHECK(followup::row_evidence(lone, 3) < followup::row_evidence(row, 3));
  CHECK(followup::row_evidence(noise, 3) < 0);
  CHECK(followup::row_evidence(mixed, 3) < followup::row_evidence(row, 3));
}
