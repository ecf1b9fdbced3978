// Atlas and tracker on painted eyes whose pose is known.
#include <catch2/catch.hpp>
#include <chrono>
#include <opencv2/video/tracking.hpp>

#include "eye/atlas.h"
#include "eye/register.h"
#include "eye/tracker.h"
#include "painted_eye.h"

using namespace rhumb;
using test::deg;
using test::PaintedEye;
using test::View;

namespace {

const cv::Size picture(640, 480);

View random_view(cv::RNG& rng, double mean_tilt_x = 0.0) {
  View v;
  v.x_px += rng.uniform(-25.0, 25.0);
  v.y_px += rng.uniform(-15.0, 15.0);
  v.radius_px *= rng.uniform(0.97, 1.03);
  v.rotation_deg = rng.uniform(-6.0, 6.0);
  v.tilt_x = mean_tilt_x + rng.uniform(-0.08, 0.08);
  v.tilt_y = rng.uniform(-0.08, 0.08);
  return v;
}

// Gives the limbus of known views with an error of a per cent or so: what a finder does.
struct KnownLimbus {
  std::vector<View> views;
  std::optional<eye::LimbusEllipse> operator()(const video::Frame& frame) const {
    const auto i = static_cast<std::size_t>(frame.index);
    if (i >= views.size() || views[i].radius_px <= 0.0) return std::nullopt;
    cv::RNG rng(static_cast<unsigned>(i) + 99U);
    eye::LimbusEllipse e;
    e.centre_px = {views[i].x_px + rng.uniform(-1.5, 1.5), views[i].y_px + rng.uniform(-1.5, 1.5)};
    e.semi_major_px = e.semi_minor_px = views[i].radius_px * rng.uniform(0.985, 1.015);
    return e;
  }
};

struct Recording {
  std::vector<View> views;
  std::vector<video::Frame> frames;
  eye::AtlasOptions options;
  eye::AtlasReport report;
  std::optional<eye::EyeAtlas> atlas;

  Recording(const PaintedEye& eye, int samples, double mean_tilt_x, unsigned seed) {
    cv::RNG rng(seed);
    for (int i = 0; i < samples; ++i) {
      views.push_back(random_view(rng, mean_tilt_x));
      frames.push_back(eye.frame(views.back(), picture, 2.5, static_cast<unsigned>(i)));
    }
    options.find_limbus = KnownLimbus{views};
    atlas = eye::build_atlas(frames, casefile::Superior::Top, false, options, report);
  }
};

double worst_after_offset(std::vector<double> errors) {
  std::vector<double> sorted = errors;
  std::sort(sorted.begin(), sorted.end());
  const double middle = sorted[sorted.size() / 2];
  double worst = 0.0;
  for (const double e : errors) worst = std::max(worst, std::abs(e - middle));
  return worst;
}

}  // namespace

TEST_CASE("torsion and tilt of a solid eye are followed without drift") {
  const PaintedEye eye(7);
  const Recording recording(eye, 20, 0.0, 11);
  REQUIRE(recording.atlas);
  CHECK(recording.report.used == 20);
  eye::EyeTracker tracker(*recording.atlas);
  cv::RNG rng(5);
  std::vector<double> rotation, shear_x, shear_y;
  View v;
  for (int i = 0; i < 25; ++i) {
    // A smooth walk through the range of views.
    v.rotation_deg = 6.0 * std::sin(0.25 * i);
    v.x_px = 320.0 + 20.0 * std::sin(0.2 * i);
    v.tilt_x = 0.1 * std::sin(0.3 * i);
    v.tilt_y = 0.08 * std::cos(0.3 * i);
    const eye::EyePose pose =
        tracker.track(eye.frame(v, picture, 2.5, 1000U + static_cast<unsigned>(i)));
    REQUIRE(pose.found);
    CHECK(pose.ring_share > 0.8);
    rotation.push_back(deg(pose.rotation_rad) - v.rotation_deg);
    const Eigen::Matrix2d upright = recording.atlas->picture_from_upright;
    const auto got = eye::parts_of(upright, pose.picture_from_atlas);
    const auto truth = eye::parts_of(upright, PaintedEye::linear(v));
    shear_x.push_back(got.shear.x() - truth.shear.x());
    shear_y.push_back(got.shear.y() - truth.shear.y());
    const eye::LimbusEllipse limbus = eye::limbus_in_picture(*recording.atlas, pose);
    CHECK((limbus.centre_px - Eigen::Vector2d(v.x_px, v.y_px)).norm() < 0.01 * v.radius_px);
  }
  CHECK(worst_after_offset(rotation) < 0.03);   // degrees; sensor noise alone leaves 0.003
  CHECK(worst_after_offset(shear_x) < 0.0015);  // 0.04 degrees of a direction at 45
  CHECK(worst_after_offset(shear_y) < 0.0015);
}

// What the ideas of the tracker buy, on the same walk: worst error of the rotation in degrees, one
// constant taken off, and of the direction of a meridian at 45 degrees.
struct WalkErrors {
  double rotation = 0.0;
  double meridian = 0.0;
};

WalkErrors walk(const PaintedEye& eye, const Recording& recording,
                const eye::TrackerOptions& options) {
  eye::EyeTracker tracker(*recording.atlas, options);
  std::vector<double> rotation, meridian;
  const Eigen::Vector2d diagonal = Eigen::Vector2d(1.0, 1.0).normalized();
  const auto direction = [](const Eigen::Vector2d& d) { return std::atan2(d.y(), d.x()); };
  View v;
  for (int i = 0; i < 60; ++i) {
    v.rotation_deg = 6.0 * std::sin(0.25 * i);
    v.tilt_x = 0.12 * std::sin(0.3 * i);
    v.tilt_y = 0.1 * std::cos(0.3 * i);
    const eye::EyePose pose =
        tracker.track(eye.frame(v, picture, 2.5, 3000U + static_cast<unsigned>(i)));
    REQUIRE(pose.found);
    rotation.push_back(deg(pose.rotation_rad) - v.rotation_deg);
    meridian.push_back(deg(direction(pose.picture_from_atlas * diagonal) -
                           direction(PaintedEye::linear(v) * diagonal)));
  }
  return {worst_after_offset(rotation), worst_after_offset(meridian)};
}

TEST_CASE("a similarity turns meridians of a tilted eye, and chained frames drift") {
  const PaintedEye eye(7);
  const Recording recording(eye, 20, 0.0, 11);
  REQUIRE(recording.atlas);
  const WalkErrors whole = walk(eye, recording, {});
  eye::TrackerOptions similar;
  similar.only_similarity = true;
  eye::TrackerOptions chained;
  chained.chained = true;
  CHECK(whole.meridian < 0.06);
  // Half the square of a tilt of 0.12 to 0.16 turns the diagonal by up to 0.2 to 0.4 degrees.
  CHECK(walk(eye, recording, similar).meridian > 0.15);
  CHECK(walk(eye, recording, chained).rotation > 1.5 * whole.rotation);
}

TEST_CASE("the absolute tilt of a recording is told from how shear goes with parallax") {
  const PaintedEye eye(21);
  const Recording recording(eye, 24, 0.12, 3);  // 6.8 degrees towards atlas x, 2.6 to either side
  REQUIRE(recording.atlas);
  const eye::AtlasReport& report = recording.report;
  CHECK(std::atan(report.tilt_measured.norm()) > 0.06);
  const Eigen::Vector2d drawn_off = report.tilt_measured - report.tilt_used;
  for (std::size_t i = 0; i < recording.views.size(); ++i) {
    const Eigen::Vector2d truth(recording.views[i].tilt_x, recording.views[i].tilt_y);
    INFO("sample " << i);
    CHECK((report.sample_pose[i].parallax + drawn_off - truth).norm() < 0.01);  // 0.6 degrees
  }
  // What the atlas takes of it errs towards an upright eye, by no more than is owned up to.
  CHECK(report.tilt_used.dot(report.tilt_measured) > 0.0);
  CHECK(drawn_off.norm() < 2.0 * report.tilt_se_rad);
}

TEST_CASE("a third of the ring under an instrument costs share, not truth") {
  const PaintedEye eye(7);
  const Recording recording(eye, 16, 0.0, 11);
  REQUIRE(recording.atlas);
  std::vector<double> error;
  for (const bool covered : {false, true}) {
    eye::EyeTracker tracker(*recording.atlas);
    View v;
    for (int i = 0; i < 4; ++i) {
      v.rotation_deg = 1.0 * i;
      video::Frame frame = eye.frame(v, picture, 2.5, 50U + static_cast<unsigned>(i));
      if (covered) {
        // A bright and a dark bar, as a metal tool and its shadow, that do not move with the eye.
        cv::rectangle(frame.luma, {380, 0}, {470, 480}, cv::Scalar(215), cv::FILLED);
        cv::rectangle(frame.luma, {470, 0}, {500, 480}, cv::Scalar(40), cv::FILLED);
      }
      const eye::EyePose pose = tracker.track(frame);
      REQUIRE(pose.found);
      if (covered) CHECK(pose.ring_share < 0.85);
      error.push_back(deg(pose.rotation_rad) - v.rotation_deg);
    }
  }
  CHECK(worst_after_offset(error) < 0.05);
}

TEST_CASE("a jump, an absence, a zoom step, a dark lamp: back within five frames") {
  const PaintedEye eye(7);
  const Recording recording(eye, 16, 0.0, 11);
  REQUIRE(recording.atlas);
  std::vector<View> views;
  View v;
  for (int i = 0; i < 4; ++i) views.push_back(v);
  v.rotation_deg = 8.0;
  v.x_px += 12.0;
  for (int i = 0; i < 6; ++i) views.push_back(v);  // jump at 4
  View away = v;
  away.radius_px = -1.0;
  for (int i = 0; i < 8; ++i) views.push_back(away);  // absent 10..17
  v.rotation_deg = -5.0;
  v.x_px -= 60.0;
  for (int i = 0; i < 6; ++i) views.push_back(v);  // back at 18, elsewhere
  v.radius_px *= 1.6;
  v.y_px += 10.0;
  for (int i = 0; i < 6; ++i) views.push_back(v);  // zoom at 24
  v.light = 0.5;
  for (int i = 0; i < 6; ++i) views.push_back(v);  // half the light at 30
  eye::TrackerOptions options;
  options.find_limbus = KnownLimbus{views};
  eye::EyeTracker tracker(*recording.atlas, options);
  double offset = 0.0;
  int since_change = 0;
  for (std::size_t i = 0; i < views.size(); ++i) {
    const bool absent = views[i].radius_px < 0.0;
    video::Frame frame;
    if (absent) {
      frame.luma = cv::Mat(picture, CV_8UC1, cv::Scalar(90));
      cv::RNG(static_cast<unsigned>(i)).fill(frame.luma, cv::RNG::NORMAL, 90.0, 12.0);
      frame.cb = cv::Mat(picture / 2, CV_8UC1, cv::Scalar(128));
      frame.cr = frame.cb;
    } else {
      frame = eye.frame(views[i], picture, 2.5, static_cast<unsigned>(i));
    }
    frame.index = static_cast<std::int64_t>(i);
    since_change = i == 4 || i == 18 || i == 24 || i == 30 ? 0 : since_change + 1;
    const eye::EyePose pose = tracker.track(frame);
    INFO("frame " << i << " share " << pose.ring_share);
    if (absent) {
      CHECK_FALSE(pose.found);
      continue;
    }
    if (i == 0) offset = deg(pose.rotation_rad);
    if (since_change >= 4) REQUIRE(pose.found);
    if (pose.found) CHECK(std::abs(deg(pose.rotation_rad) - offset - views[i].rotation_deg) < 0.1);
  }
}

TEST_CASE("registration against OpenCV's enhanced correlation on the same pictures") {
  // cv::findTransformECC (Evangelidis and Psarakis, IEEE PAMI 2008), affine, both from the same
  // start; a flat view of the eye, so that its model holds too. Errors in degrees of rotation,
  // times in milliseconds.
  const PaintedEye eye(7);
  const Recording recording(eye, 16, 0.0, 11);
  REQUIRE(recording.atlas);
  eye::Aligner aligner;
  double ours = 0.0, theirs = 0.0, our_ms = 0.0, their_ms = 0.0;
  const View still;
  const video::Frame fixed = eye.frame(still, picture, 2.5, 77);
  cv::Mat ring_only(picture, CV_8UC1, cv::Scalar(0));
  cv::circle(ring_only, {320, 240}, 200, cv::Scalar(255), cv::FILLED);
  cv::circle(ring_only, {320, 240}, 94, cv::Scalar(0), cv::FILLED);
  eye::EyePose first;
  {
    eye::EyeTracker tracker(*recording.atlas);
    eye::TrackerOptions options;
    options.find_limbus = KnownLimbus{std::vector<View>(200, still)};
    tracker = eye::EyeTracker(*recording.atlas, options);
    first = tracker.track(fixed);
    REQUIRE(first.found);
  }
  for (int i = 0; i < 4; ++i) {
    View v;
    v.rotation_deg = 0.7 + 0.4 * i;
    v.x_px += 1.5 * i;
    const video::Frame moving = eye.frame(v, picture, 2.5, 80U + static_cast<unsigned>(i));
    auto start = std::chrono::steady_clock::now();
    aligner.look_at(moving.luma, eye::ring_pose_of(first), 1.6);
    const eye::Alignment got =
        aligner.align(*recording.atlas->ring, eye::ring_pose_of(first), eye::AlignOptions{});
    our_ms +=
        std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
    const eye::EyePose pose = eye::eye_pose_of(got, recording.atlas->picture_from_upright);
    ours = std::max(ours, std::abs(deg(pose.rotation_rad - first.rotation_rad) - v.rotation_deg));
    cv::Mat warp = cv::Mat::eye(2, 3, CV_32FC1);
    start = std::chrono::steady_clock::now();
    cv::findTransformECC(
        fixed.luma, moving.luma, warp, cv::MOTION_AFFINE,
        cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 60, 1e-6), ring_only, 5);
    their_ms +=
        std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
    // Pictures run y down: a counter-clockwise turn of the eye is a clockwise one of the matrix.
    const double turn =
        -std::atan2(static_cast<double>(warp.at<float>(1, 0) - warp.at<float>(0, 1)),
                    static_cast<double>(warp.at<float>(0, 0) + warp.at<float>(1, 1)));
    theirs = std::max(theirs, std::abs(deg(turn) - v.rotation_deg));
  }
  WARN("largest rotation error: atlas registration " << ours << " deg, enhanced correlation "
                                                     << theirs << " deg; mean time " << our_ms / 4.0
                                                     << " ms and " << their_ms / 4.0 << " ms");
  CHECK(ours < 0.03);
  CHECK(theirs < 0.1);
  CHECK(ours < theirs + 0.02);
}

TEST_CASE("another eye is not taken for this one") {
  const Recording recording(PaintedEye(7), 16, 0.0, 11);
  REQUIRE(recording.atlas);
  eye::TrackerOptions options;
  options.find_limbus = KnownLimbus{std::vector<View>(10)};
  eye::EyeTracker tracker(*recording.atlas, options);
  for (unsigned i = 0; i < 5; ++i) {
    CHECK_FALSE(tracker.track(PaintedEye(8).frame(View{}, picture, 2.5, i)).found);
  }
}

TEST_CASE("pictures without an eye give a reason and no atlas") {
  std::vector<video::Frame> frames(5);
  for (std::size_t i = 0; i < frames.size(); ++i) {
    frames[i].luma = cv::Mat(picture, CV_8UC1, cv::Scalar(60));
    frames[i].cb = cv::Mat(picture / 2, CV_8UC1, cv::Scalar(128));
    frames[i].cr = frames[i].cb;
  }
  eye::AtlasReport report;
  CHECK_FALSE(eye::build_atlas(frames, casefile::Superior::Top, false, {}, report));
  CHECK_FALSE(report.why_not.empty());
}
