// What coding leaves of marks, against its limits: nothing is lost where coding loses nothing, and
// marks that a coarse quantizer rounds away are gone (an H.264 quantizer step doubles every six of
// QP: ITU-T H.264, from memory; at 45 it is 112 levels, a faint mark of ours changes luma by about
// 12).
#include "render/coding_loss.h"

#include <catch2/catch.hpp>

#include "folder.h"
#include "plain.h"
#include "render/produce.h"

using namespace rhumb::render;
using rhumb::render::testing::Folder;
using rhumb::render::testing::lay_lens;
using rhumb::render::testing::plain_scene;

namespace {

struct Readable {
  double least = 1.0;
  double most = 0.0;
};

// Of either end, in the first 0.4 seconds of a recording.
Readable recorded(Scene scene, int crf) {
  const Folder folder;
  scene.camera.crf = crf;
  scene.seconds = 0.4;
  Readable out;
  for (const TruthRow& row : produce_recording(scene, folder.path, {})) {
    out.least = std::min({out.least, row.readable_a, row.readable_b});
    out.most = std::max({out.most, row.readable_a, row.readable_b});
  }
  return out;
}

}  // namespace

TEST_CASE("The share of marks that is left is the least-squares one", "[render]") {
  MarkPixels end;
  const cv::Mat luma = (cv::Mat_<unsigned char>(1, 3) << 96, 92, 100);
  const cv::Mat blue = (cv::Mat_<unsigned char>(1, 1) << 126);
  const cv::Mat red = (cv::Mat_<unsigned char>(1, 1) << 130);
  end.pixels = {{0, 0, 0, 100, -10}, {0, 1, 0, 100, -20}, {1, 0, 0, 128, -5}};
  // (10 * 4 + 20 * 8 + 5 * 2) / (100 + 400 + 25)
  CHECK(share_left(end, luma, blue, red) == Approx(210.0 / 525.0));
  CHECK(share_left({}, luma, blue, red) == 1.0);
}

TEST_CASE("Marks that coding rounds away are not readable", "[render][long]") {
  Scene scene = plain_scene();
  scene.lens.contrast = 0.25;
  lay_lens(scene, 0.4);
  const double uncoded = truth_at(Stage(scene), 0, 0.5).readable_a;
  CHECK(uncoded > 0.5);
  const Readable fine = recorded(scene, 1);
  CHECK(fine.least == Approx(uncoded).margin(0.1));
  CHECK(fine.most == Approx(uncoded).margin(0.1));
  CHECK(recorded(scene, 45).most < 0.05);
}

TEST_CASE("Coding takes nothing from marks that the iris hides already", "[render][long]") {
  Scene scene = plain_scene();
  scene.eye.pupil_mm = 3.0;
  lay_lens(scene, 0.4);
  CHECK(recorded(scene, 20).most == 0.0);
}
