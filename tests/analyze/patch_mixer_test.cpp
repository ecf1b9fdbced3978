// What pictures that are passed over give to their neighbours.
#include "analyze/patch_mixer.h"

#include <catch2/catch.hpp>
#include <cmath>

using namespace rhumb;

namespace {

constexpr double radius_px = 200.0;

eye::EyePose pose_at(double turn_rad) {
  eye::EyePose pose;
  pose.found = true;
  pose.rotation_rad = turn_rad;
  pose.offset_px = {300.0, 300.0};
  pose.picture_from_atlas << std::cos(turn_rad), -std::sin(turn_rad), -std::sin(turn_rad),
      -std::cos(turn_rad);
  pose.picture_from_atlas *= radius_px;
  return pose;
}

video::Frame grey(std::int64_t index, double level) {
  video::Frame frame;
  frame.index = index;
  frame.time_s = static_cast<double>(index) / 60.0;
  frame.luma = cv::Mat(600, 600, CV_8UC1, cv::Scalar(level));
  return frame;
}

double middle_of(const lens::PatchStore& store, std::size_t patch) {
  const lens::Patch found = store.at(patch);
  return found.empty() ? -1.0 : found.luma.at<uchar>(found.luma.rows / 2, found.luma.cols / 2);
}

}  // namespace

TEST_CASE("A picture that is passed over goes to both neighbours by its nearness") {
  lens::PatchStore store({}, 1U << 20);
  analyze::PatchMixer mixer(store);
  mixer.look_at(grey(0, 100), pose_at(0.0));
  mixer.pass_over(grey(1, 160));
  mixer.look_at(grey(2, 100), pose_at(0.0));
  mixer.pass_over(grey(3, 40));
  mixer.pass_over(grey(4, 100));
  mixer.look_at(grey(5, 100), pose_at(0.0));
  mixer.look_at(grey(6, 100), pose_at(0.0));
  mixer.finish();
  REQUIRE(store.size() == 4);
  CHECK(middle_of(store, 0) == Approx(120.0).margin(1.0));  // (100 + 160 / 2) / 1.5
  // Its own beside half of 160, two thirds of 40 and a third of 100: by nearness in time.
  CHECK(middle_of(store, 1) ==
        Approx((100.0 + 80.0 + 2.0 / 3.0 * 40.0 + 100.0 / 3.0) / 2.5).margin(1.0));
  CHECK(middle_of(store, 2) == Approx((100.0 + 40.0 / 3.0 + 2.0 / 3.0 * 100.0) / 2.0).margin(1.0));
  CHECK(middle_of(store, 3) == Approx(100.0));
}

TEST_CASE("A picture between poses that are far apart, or unknown, is not used") {
  for (const bool known : {true, false}) {
    lens::PatchStore store({}, 1U << 20);
    analyze::PatchMixer mixer(store);
    mixer.look_at(grey(0, 100), pose_at(0.0));
    mixer.pass_over(grey(1, 200));
    mixer.look_at(grey(2, 100), known ? pose_at(0.14) : eye::EyePose{});
    mixer.finish();
    REQUIRE(store.size() == 2);
    CHECK(middle_of(store, 0) == Approx(100.0));
    CHECK(store.has(1) == known);
  }
}

TEST_CASE("A picture between is straightened by the pose between") {
  // A soft dark bar that turns with the eye by half a degree a picture: in the eye's frame it
  // stands still.
  const auto barred = [](std::int64_t index, double turn_rad) {
    video::Frame frame = grey(index, 200);
    for (int row = 0; row < 600; ++row) {
      for (int col = 0; col < 600; ++col) {
        const double x = col - 300.0;
        const double y = 300.0 - row;
        const double across = -x * std::sin(turn_rad) + y * std::cos(turn_rad);
        frame.luma.at<uchar>(row, col) =
            static_cast<uchar>(std::lround(200.0 - 150.0 * std::exp(-across * across / 18.0)));
      }
    }
    return frame;
  };
  constexpr double step_rad = 0.008;
  lens::PatchStore still({}, 1U << 20);
  analyze::PatchMixer alone(still);
  alone.look_at(barred(0, 0.0), pose_at(0.0));
  alone.finish();
  lens::PatchStore store({}, 1U << 20);
  analyze::PatchMixer mixer(store);
  mixer.look_at(barred(0, 0.0), pose_at(0.0));
  mixer.pass_over(barred(1, step_rad));
  mixer.look_at(barred(2, 2.0 * step_rad), pose_at(2.0 * step_rad));
  mixer.finish();
  // Half a degree at the patch's rim is 0.7 of its pixels: with a neighbour's pose the difference
  // would be 11 grey levels.
  CHECK(cv::norm(still.at(0).luma, store.at(0).luma, cv::NORM_INF) < 5.0);
}
