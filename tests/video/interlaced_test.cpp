// Interlaced material: made here from a progressive scene of twice the rate, so that the truth is
// known.
#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "video/made.h"
#include "video/writer.h"

namespace {

constexpr int width = 320;
constexpr int height = 240;

// A textured disc that turns and slides: field `f` is shown at f / 50 s.
cv::Mat scene(int field) {
  cv::Mat picture(height, width, CV_8UC1, cv::Scalar(90));
  const double x = 90.0 + 2.5 * field;
  for (int spoke = 0; spoke < 12; ++spoke) {
    const double angle = 0.5236 * spoke + 0.02 * field;
    const cv::Point2d centre(x, 120.0);
    const cv::Point2d out(std::cos(angle), std::sin(angle));
    cv::line(picture, cv::Point((centre + 20 * out) * 16), cv::Point((centre + 70 * out) * 16),
             cv::Scalar(200), 3, cv::LINE_AA, 4);
  }
  cv::GaussianBlur(picture, picture, {0, 0}, 1.0);
  return picture;
}

cv::Mat woven(int frame) {
  cv::Mat picture = scene(2 * frame).clone();
  const cv::Mat second = scene(2 * frame + 1);
  for (int y = 1; y < height; y += 2) {
    second.row(y).copyTo(picture.row(y));
  }
  return picture;
}

constexpr int frames = 20;

// `flagged`: coded as fields; else the woven pictures are coded as if they were progressive.
std::filesystem::path write(const std::filesystem::path& file, bool flagged, bool interlaced) {
  rhumb::video::WriterOptions options;
  options.width = width;
  options.height = height;
  options.crf = 1.0;
  options.interlaced = flagged;
  rhumb::video::Writer writer(file, options);
  for (int i = 0; i < frames; ++i) {
    writer.add(interlaced ? woven(i) : scene(2 * i), i / 25.0);
  }
  writer.finish();
  return file;
}

void check_fields(const made::Read& read, double least_psnr) {
  REQUIRE(read.luma.size() == frames);
  CHECK(read.facts.interlaced_frames == frames);
  for (int i = 1; i + 1 < frames; ++i) {
    const cv::Mat truth = scene(2 * i);
    const cv::Mat& luma = read.luma[static_cast<std::size_t>(i)];
    CHECK(made::psnr(luma, truth) > least_psnr);
    CHECK(made::psnr(luma, truth) > made::psnr(woven(i), truth) + 6.0);
    CHECK(made::psnr(luma, truth) >
          made::psnr(luma, scene(2 * i + 1)));  // the first field's moment
    CHECK(read.times_s[static_cast<std::size_t>(i)] == Approx(i / 25.0).margin(1e-9));
  }
}

}  // namespace

TEST_CASE(
    "flagged interlaced pictures become one progressive picture each, at the first field's time") {
  const made::Folder folder;
  const auto file = write(folder / "i.mp4", true, true);
  const auto read = made::read({file}, true);
  check_fields(read, 36.0);
  const auto coded = made::planes_by_ffmpeg(file, 'y', {width, height});
  for (std::size_t i = 0; i < coded.size(); ++i) {
    for (int y = 0; y < height; y += 2) {  // the first field's lines are untouched
      REQUIRE(cv::norm(read.luma[i].row(y), coded[i].row(y), cv::NORM_INF) == 0.0);
    }
  }
  CHECK(made::probed_times(file).size() == read.times_s.size());
}

TEST_CASE("interlaced pictures without the flag are found by their look") {
  const made::Folder folder;
  check_fields(made::read({write(folder / "u.mp4", false, true)}, true), 36.0);
}

TEST_CASE("progressive motion, and noise, are not taken for interlaced") {
  const made::Folder folder;
  const auto read = made::read({write(folder / "p.mp4", false, false)}, true);
  CHECK(read.facts.interlaced_frames == 0);
  const auto noise = made::ffmpeg(
      "-f lavfi -i color=gray:size=320x240:rate=25,noise=alls=60:allf=t:all_seed=3 -frames:v 25 "
      "-c:v ffv1",
      folder / "n.mkv");
  CHECK(made::read({noise}).facts.interlaced_frames == 0);
}

TEST_CASE("interlaced MPEG-2 in a program stream keeps one row a picture") {
  const made::Folder folder;
  const auto file = made::ffmpeg(made::pattern(40, "320x240", "50") +
                                     "-vf interlace -c:v mpeg2video -flags +ildct+ilme -b:v 4M",
                                 folder / "m.mpg");
  const auto read = made::read({file}, true);
  CHECK(read.times_s.size() == made::probed_times(file).size());
  CHECK(read.facts.interlaced_frames == static_cast<std::int64_t>(read.times_s.size()));
}

TEST_CASE("material that changes between progressive and interlaced keeps its order and its rows") {
  const made::Folder folder;
  const auto a = write(folder / "a.mp4", false, false);
  const auto b = write(folder / "b.mp4", true, true);
  const auto read = made::read({a, b, a}, true);
  REQUIRE(read.times_s.size() == 3 * frames);
  CHECK(read.facts.interlaced_frames == frames);
  CHECK(made::psnr(read.luma[5], scene(10)) > 40.0);
  CHECK(made::psnr(read.luma[frames + 5], scene(10)) > 36.0);
  CHECK(made::psnr(read.luma[2 * frames + 5], scene(10)) > 40.0);
  for (std::size_t i = 1; i < read.times_s.size(); ++i) {
    CHECK(read.times_s[i] - read.times_s[i - 1] == Approx(0.04).margin(1e-6));
  }
}
