// What befalls a recording: jumps, an eye that leaves, zoom, focus and light, and clutter on marks.
// The expected values are the scenes' own numbers.
#include <catch2/catch.hpp>
#include <opencv2/core.hpp>

#include "angle/angle.h"
#include "plain.h"
#include "render/camera.h"
#include "render/scene_file.h"
#include "render/truth.h"

using namespace rhumb;
using namespace rhumb::render;
using namespace rhumb::render::testing;
using angle::rad_from_deg;

namespace {

Scene lying_lens() {
  Scene s = plain_scene();
  lay_lens(s, rad_from_deg(30.0));
  s.eye.pupil_mm = 7.5;
  return s;
}

Scene shipped(const char* name) {
  return read_scene(std::string(RHUMB_FIXTURES) + "/scenes/" + name);
}

}  // namespace

TEST_CASE("A jump turns the eye between two pictures and leaves the lens in it alone") {
  Scene s = lying_lens();
  s.events = {{Happening::Jump, 1.01, 0.0}};
  s.events[0].turn_rad = rad_from_deg(8.0);
  const Stage stage(s);
  const TruthRow before = truth_at(stage, 25, 1.00);
  const TruthRow after = truth_at(stage, 26, 1.04);
  CHECK(after.eye_rotation_rad - before.eye_rotation_rad == Approx(rad_from_deg(8.0)));
  CHECK(*after.axis_rad == Approx(*before.axis_rad));
}

TEST_CASE("An eye that leaves is out of the picture for its time and comes back to its place") {
  Scene s = lying_lens();
  s.events = {{Happening::Leave, 1.0, 2.0}};
  s.events[0].shift_mm = {16.0, 0.0};  // the picture is 15 mm wide
  const Stage stage(s);
  const TruthRow there = truth_at(stage, 0, 0.9);
  const TruthRow gone = truth_at(stage, 0, 2.0);
  const TruthRow back = truth_at(stage, 0, 3.1);
  CHECK(there.readable() > 0.9);
  CHECK(gone.readable() == 0.0);
  CHECK((gone.limbus_px - there.limbus_px).x() == Approx(16.0 * 480 / 15.0));
  CHECK((back.limbus_px - there.limbus_px).norm() < 1e-9);
}

TEST_CASE("A zoom step magnifies limbus and marks alike") {
  Scene s = lying_lens();
  s.events = {{Happening::Zoom, 1.0, 0.2}};
  s.events[0].factor = 1.6;
  const Stage stage(s);
  CHECK(truth_at(stage, 0, 2.0).limbus_radius_px / truth_at(stage, 0, 0.5).limbus_radius_px ==
        Approx(1.6));
}

TEST_CASE("Without light the picture is black, and out of focus marks are not readable") {
  Scene s = lying_lens();
  s.events = {{Happening::Lamp, 1.0, 1.0}};
  s.events[0].factor = 0.001;
  const Stage stage(s);
  Camera camera(stage, 1);
  CHECK(cv::mean(camera.take(0.5, 1).luma)[0] > 60.0);
  CHECK(cv::mean(camera.take(1.5, 2).luma)[0] < 18.0);  // black is 16 (ITU-R BT.709)
  CHECK(truth_at(stage, 0, 1.5).readable() < 0.2);
  s.events = {{Happening::Refocus, 1.0, 1.0}};
  s.events[0].defocus_mm = 0.5;
  const Stage blurred(s);
  CHECK(truth_at(blurred, 0, 0.5).readable() > 0.9);
  CHECK(truth_at(blurred, 0, 1.5).readable() < 0.2);
}

TEST_CASE("A placed reflection lies where it was put, and hides what lies there") {
  Scene s = lying_lens();
  s.microscope.lamps = 1;
  s.microscope.lamp_placed = true;
  s.microscope.lamp_at_mm = {2.1, -1.3};
  const double scale = s.camera.width / s.microscope.field_mm;
  const Stage stage(s);
  const Disc glint = stage.glints(stage.at(0.5)).at(0);
  CHECK((glint.x_px - 0.5 * (s.camera.width - 1)) / scale == Approx(2.1).margin(1e-6));
  CHECK((0.5 * (s.camera.height - 1) - glint.y_px) / scale == Approx(-1.3).margin(1e-6));
}

TEST_CASE("Scenes about clutter hide one end of the marks and leave the other") {
  const Stage hook(shipped("instrument-on-mark.toml"));
  const TruthRow covered = truth_at(hook, 0, 6.8);
  CHECK(std::min(covered.readable_a, covered.readable_b) < 0.4);
  CHECK(std::max(covered.readable_a, covered.readable_b) > 0.7);
  const Stage lamp(shipped("reflex-on-mark.toml"));
  double least = 1.0;
  for (double t = 5.0; t < 9.0; t += 0.25) {
    const TruthRow row = truth_at(lamp, 0, t);
    least = std::min(least, std::min(row.readable_a, row.readable_b));
    CHECK(std::max(row.readable_a, row.readable_b) > 0.7);
  }
  CHECK(least < 0.5);
}
