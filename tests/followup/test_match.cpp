// Registration of two pictures of an eye: against the known rotation of a painted eye (closed
// form), and against two general registration methods of OpenCV on the same pictures.
#include <catch2/catch.hpp>
#include <chrono>
#include <cmath>
#include <iostream>
#include <opencv2/calib3d.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "eye/limbus.h"
#include "eye/painted_eye.h"
#include "eye/ring_match.h"

using namespace rhumb;

namespace {

const cv::Size picture(640, 480);

eye::LimbusEllipse limbus_of(const test::View& view) {
  eye::LimbusEllipse out;
  out.centre_px = {view.x_px, view.y_px};
  out.semi_major_px = out.semi_minor_px = view.radius_px;
  return out;
}

eye::RingView seen(const video::Frame& frame, const test::View& view) {
  return eye::ring_view(frame.luma, frame.cb, frame.cr, limbus_of(view));
}

double off_deg(double rad, double truth_deg) {
  return test::deg(angle::wrap_rotation(rad - angle::rad_from_deg(truth_deg)));
}

// Rotation between two pictures by OpenCV's ORB features and a robust similarity.
double by_features(const cv::Mat& a, const cv::Mat& b) {
  const auto orb = cv::ORB::create(1500);
  std::vector<cv::KeyPoint> ka, kb;
  cv::Mat da, db;
  orb->detectAndCompute(a, cv::noArray(), ka, da);
  orb->detectAndCompute(b, cv::noArray(), kb, db);
  std::vector<cv::DMatch> matches;
  cv::BFMatcher(cv::NORM_HAMMING, true).match(da, db, matches);
  std::vector<cv::Point2f> pa, pb;
  for (const auto& m : matches) {
    pa.push_back(ka[static_cast<std::size_t>(m.queryIdx)].pt);
    pb.push_back(kb[static_cast<std::size_t>(m.trainIdx)].pt);
  }
  const cv::Mat map = cv::estimateAffinePartial2D(pa, pb);
  return map.empty() ? 1e3 : -std::atan2(map.at<double>(1, 0), map.at<double>(0, 0));
}

// By OpenCV's phase correlation of the pictures unrolled about the limbus.
double by_phase(const cv::Mat& a, const test::View& va, const cv::Mat& b, const test::View& vb) {
  const auto unrolled = [](const cv::Mat& grey, const test::View& v) {
    cv::Mat polar, out;
    cv::warpPolar(grey, polar, cv::Size(128, 1024),
                  cv::Point2f(static_cast<float>(v.x_px), static_cast<float>(v.y_px)),
                  1.5 * v.radius_px, cv::INTER_LINEAR);
    polar.colRange(60, 128).convertTo(out, CV_64F);
    return out;
  };
  const cv::Point2d shift = cv::phaseCorrelate(unrolled(a, va), unrolled(b, vb));
  return -shift.y / 1024 * 2 * angle::pi;
}

struct Timed {
  double off_deg = 0.0;
  double ms = 0.0;
};

// `rotation_rad` gives what a method finds.
template <typename Method>
Timed timed(double truth_deg, const Method& rotation_rad) {
  const auto start = std::chrono::steady_clock::now();
  const double found = rotation_rad();
  const double ms =
      std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
  return {std::abs(off_deg(found, truth_deg)), ms};
}

}  // namespace

TEST_CASE("a turned, tilted and dimmed eye is registered within its stated error") {
  const test::PaintedEye painted(7);
  const test::View first{320, 240, 130, 0, 0, 0, 1.0};
  const video::Frame a = painted.frame(first, picture, 3, 1);
  const eye::RingView view_a = seen(a, first);
  int inside = 0, all = 0;
  for (const double turn : {3.0, -17.5, 95.0, 178.0}) {
    const test::View second{310, 250, 115, turn, 0.06, -0.04, 0.6};
    const video::Frame b = painted.frame(second, picture, 3, 2);
    eye::RingMatch match;
    const Timed ours = timed(turn, [&] {
      match = eye::match_rings(view_a, seen(b, second), {});
      return match.rotation_rad;
    });
    INFO("turn " << turn << " found " << test::deg(match.rotation_rad) << " log odds "
                 << match.evidence);
    REQUIRE(match.accepted);
    const double off = ours.off_deg;
    const Timed features = timed(turn, [&] { return by_features(a.luma, b.luma); });
    const Timed phase = timed(turn, [&] { return by_phase(a.luma, first, b.luma, second); });
    std::cout << "turn " << turn << ": off by " << off << " degrees (" << ours.ms
              << " ms); OpenCV's ORB features " << features.off_deg << " (" << features.ms
              << " ms), phase correlation " << phase.off_deg << " (" << phase.ms << " ms)\n";
    CHECK(off < 0.2);
    inside += off < 2 * test::deg(match.rotation_se_rad) + 0.02;
    ++all;
  }
  CHECK(inside >= all - 1);
}

TEST_CASE("other eyes and a mirrored picture are refused") {
  const test::View upright{320, 240, 130, 0, 0, 0, 1.0};
  std::vector<eye::RingView> views;
  std::vector<video::Frame> frames;
  for (unsigned seed = 20; seed < 25; ++seed) {
    frames.push_back(test::PaintedEye(seed).frame(upright, picture, 3, seed));
    views.push_back(seen(frames.back(), upright));
  }
  for (std::size_t i = 0; i < views.size(); ++i)
    for (std::size_t j = i + 1; j < views.size(); ++j)
      CHECK_FALSE(eye::match_rings(views[i], views[j], {}).accepted);
  cv::Mat mirrored;
  cv::flip(frames[0].luma, mirrored, 1);
  test::View flipped = upright;
  flipped.x_px = picture.width - 1 - upright.x_px;
  const eye::RingMatch match =
      eye::match_rings(views[0], eye::ring_view(mirrored, {}, {}, limbus_of(flipped)), {});
  CHECK_FALSE(match.accepted);
  CHECK_FALSE(match.reason.empty());
}

TEST_CASE("the limbus of a painted eye is found without a start, also under a lid") {
  const test::PaintedEye painted(3);
  const test::View view{300, 250, 120, 12, 0.02, 0.0, 0.9};
  video::Frame frame = painted.frame(view, picture, 3, 5);
  const auto check = [&] {
    const auto found = eye::find_limbus(frame.luma, frame.cb, frame.cr, {});
    REQUIRE(found);
    CHECK((found->centre_px - Eigen::Vector2d(view.x_px, view.y_px)).norm() <
          0.03 * view.radius_px);
    CHECK(found->mean_radius_px() == Approx(view.radius_px).epsilon(0.03));
  };
  check();
  frame.luma.rowRange(0, 175).setTo(120);  // covers some 28 % of the circumference
  check();
}

TEST_CASE("no limbus in noise, in an empty picture and in a slope") {
  cv::Mat noise(480, 640, CV_8UC1);
  cv::RNG(4).fill(noise, cv::RNG::NORMAL, 120, 20);
  CHECK_FALSE(eye::find_limbus(noise, {}, {}, {}));
  CHECK_FALSE(eye::find_limbus(cv::Mat(480, 640, CV_8UC1, cv::Scalar(90)), {}, {}, {}));
  cv::Mat slope(480, 640, CV_8UC1);
  for (int x = 0; x < 640; ++x) slope.col(x).setTo(x / 3);
  eye::LimbusReport report;
  CHECK_FALSE(eye::find_limbus(slope, {}, {}, {}, &report));
  CHECK_FALSE(report.reason.empty());
  CHECK_THROWS_AS(eye::find_limbus(cv::Mat(480, 640, CV_32F), {}, {}, {}), std::invalid_argument);
}
