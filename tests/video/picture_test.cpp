// Pixels against FFmpeg's own decoding of the same files: pixel formats, ranges, display rotation.
#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "video/colour.h"
#include "video/made.h"
#include "video/upright.h"

namespace {

using made::ffmpeg;
using made::Folder;
using made::pattern;

// 10 bit words to 8 bit with rounding: the stated rule, done here in floating point.
cv::Mat rounded_to_8(const cv::Mat& wide, int depth) {
  cv::Mat scaled;
  wide.convertTo(scaled, CV_64F, 1.0 / static_cast<double>(1 << (depth - 8)), 0.5);
  cv::Mat out(wide.size(), CV_8UC1);
  for (int y = 0; y < wide.rows; ++y) {
    for (int x = 0; x < wide.cols; ++x) {
      out.at<std::uint8_t>(y, x) =
          static_cast<std::uint8_t>(std::min(std::floor(scaled.at<double>(y, x)), 255.0));
    }
  }
  return out;
}

}  // namespace

TEST_CASE("8 bit 4:2:0 planes come as they are coded, with odd sizes too") {
  const Folder folder;
  for (const char* size : {"160x120", "162x122", "161x119"}) {
    const auto file = ffmpeg(pattern(3, size) + "-pix_fmt yuv420p -c:v ffv1", folder / "a.mkv");
    const auto read = made::read({file}, true);
    REQUIRE(read.luma.size() == 3);
    const cv::Size full = read.luma[0].size();
    const cv::Size half((full.width + 1) / 2, (full.height + 1) / 2);
    const auto y = made::planes_by_ffmpeg(file, 'y', full);
    const auto u = made::planes_by_ffmpeg(file, 'u', half);
    const auto v = made::planes_by_ffmpeg(file, 'v', half);
    for (std::size_t i = 0; i < 3; ++i) {
      CHECK(made::largest_difference(read.luma[i], y[i]) == 0.0);
      CHECK(made::largest_difference(read.cb[i], u[i]) == 0.0);
      CHECK(made::largest_difference(read.cr[i], v[i]) == 0.0);
    }
  }
}

TEST_CASE("chroma of other layouts is the mean of the samples that a half-size sample covers") {
  const Folder folder;
  struct Layout {
    const char* format;
    cv::Size chroma;
  };
  for (const Layout& layout :
       {Layout{"yuv422p", {80, 120}}, Layout{"yuv444p", {160, 120}}, Layout{"yuv411p", {40, 120}},
        Layout{"yuv410p", {40, 30}}, Layout{"yuv440p", {160, 60}}}) {
    INFO(layout.format);
    const auto file =
        ffmpeg(pattern(1) + "-pix_fmt " + layout.format + " -c:v ffv1", folder / "c.mkv");
    const auto read = made::read({file}, true);
    CHECK(read.facts.pixel_format == layout.format);
    for (const char plane : {'u', 'v'}) {
      cv::Mat whole;
      cv::Mat mean;
      cv::resize(made::planes_by_ffmpeg(file, plane, layout.chroma)[0], whole, {160, 120}, 0, 0,
                 cv::INTER_NEAREST);
      cv::resize(whole, mean, {80, 60}, 0, 0, cv::INTER_AREA);
      CHECK(made::largest_difference(plane == 'u' ? read.cb[0] : read.cr[0], mean) <= 1.0);
    }
  }
}

TEST_CASE("packed and half-packed layouts give the planes of the planar ones") {
  const Folder folder;
  const auto planar =
      made::read({ffmpeg(pattern(1) + "-pix_fmt yuv422p -c:v ffv1", folder / "r.mkv")}, true);
  const auto packed = made::read(
      {ffmpeg(pattern(1) + "-vf format=yuv422p -pix_fmt uyvy422 -c:v rawvideo", folder / "p.avi")},
      true);
  CHECK(packed.facts.pixel_format == "uyvy422");
  CHECK(made::largest_difference(packed.luma[0], planar.luma[0]) == 0.0);
  CHECK(made::largest_difference(packed.cb[0], planar.cb[0]) == 0.0);
  CHECK(made::largest_difference(packed.cr[0], planar.cr[0]) == 0.0);
  const auto half =
      made::read({ffmpeg(pattern(1) + "-pix_fmt yuv420p -c:v ffv1", folder / "h.mkv")}, true);
  const auto nv12 = made::read(
      {ffmpeg(pattern(1) + "-vf format=yuv420p -pix_fmt nv12 -c:v rawvideo", folder / "n.nut")},
      true);
  CHECK(nv12.facts.pixel_format == "nv12");
  CHECK(made::largest_difference(nv12.luma[0], half.luma[0]) == 0.0);
  CHECK(made::largest_difference(nv12.cb[0], half.cb[0]) == 0.0);
  CHECK(made::largest_difference(nv12.cr[0], half.cr[0]) == 0.0);
}

TEST_CASE("grey recordings have neutral chroma") {
  const Folder folder;
  const auto file = ffmpeg(pattern(2) + "-pix_fmt gray -c:v ffv1", folder / "g.mkv");
  const auto read = made::read({file}, true);
  CHECK(read.luma.size() == 2);
  CHECK(cv::norm(read.cb[0] - cv::Mat(60, 80, CV_8UC1, cv::Scalar(128)), cv::NORM_INF) == 0.0);
}

TEST_CASE("10 and 12 bit samples are rounded to 8, and that is said") {
  const Folder folder;
  for (const auto& [format, depth] :
       {std::pair("yuv420p10le", 10), std::pair("yuv420p12le", 12), std::pair("yuv422p10le", 10)}) {
    INFO(format);
    const auto file = ffmpeg(pattern(2) + "-pix_fmt " + format + " -c:v ffv1", folder / "t.mkv");
    const auto read = made::read({file}, true);
    CHECK(read.facts.bit_depth == depth);
    REQUIRE_FALSE(read.facts.notes.empty());
    CHECK(read.facts.notes[0].find("rounded to 8 bit") != std::string::npos);
    const auto wide = made::planes_by_ffmpeg(file, 'y', {160, 120}, true);
    for (std::size_t i = 0; i < 2; ++i) {
      CHECK(made::largest_difference(read.luma[i], rounded_to_8(wide[i], depth)) == 0.0);
    }
  }
}

TEST_CASE("HEVC with 10 bit, MPEG-2, ProRes-like 4:2:2, VP9 and motion JPEG are read") {
  const Folder folder;
  const std::string x265 =
      "-pix_fmt yuv420p10le -c:v libx265 -preset ultrafast -x265-params log-level=none:pools=1";
  CHECK(made::read({ffmpeg(pattern(5) + x265, folder / "h.mp4")}).times_s.size() == 5);
  CHECK(made::read({ffmpeg(pattern(5) + "-c:v mpeg2video", folder / "m.mpg")}).times_s.size() == 5);
  CHECK(made::read({ffmpeg(pattern(5) + "-c:v prores", folder / "p.mov")}).times_s.size() == 5);
  CHECK(made::read({ffmpeg(pattern(5) + "-c:v mjpeg", folder / "j.avi")}).times_s.size() == 5);
  CHECK(made::read({ffmpeg(pattern(5) + "-c:v libvpx-vp9 -deadline realtime", folder / "v.webm")})
            .times_s.size() == 5);
}

TEST_CASE("full and limited range are told apart and luma stays as coded") {
  const Folder folder;
  const std::string white = "-f lavfi -i color=white:size=64x48:rate=25 -frames:v 1 ";
  const std::string h264 = "-c:v libx264 -qp 0 -preset ultrafast ";
  const auto limited = made::read(
      {ffmpeg(white + h264 + "-pix_fmt yuv420p -color_range tv", folder / "l.mp4")}, true);
  const auto full = made::read(
      {ffmpeg(white + "-vf scale=out_range=full " + h264 + "-pix_fmt yuvj420p", folder / "f.mp4")},
      true);
  CHECK_FALSE(limited.facts.full_range);
  CHECK(full.facts.full_range);
  // Recommendation ITU-R BT.709: white lies at 235 of 8 bit limited range.
  CHECK(limited.luma[0].at<std::uint8_t>(20, 20) == 235);
  CHECK(full.luma[0].at<std::uint8_t>(20, 20) == 255);
}

TEST_CASE("RGB recordings become BT.709 limited range") {
  const Folder folder;
  // Pure red by Recommendation ITU-R BT.709: Y' = 0.2126, so 16 + 219 * 0.2126 = 62.6; Cr at its
  // top, 240.
  const auto file =
      ffmpeg("-f lavfi -i color=red:size=64x48:rate=25,format=gbrp -frames:v 2 -c:v ffv1",
             folder / "r.mkv");
  const auto read = made::read({file}, true);
  CHECK_FALSE(read.facts.notes.empty());
  CHECK(std::abs(read.luma[0].at<std::uint8_t>(20, 20) - 62.6) <= 1.0);
  CHECK(std::abs(read.cr[0].at<std::uint8_t>(10, 10) - 240.0) <= 1.5);
  CHECK_FALSE(read.facts.full_range);
}

TEST_CASE("colour pictures follow the recording's own matrix and range") {
  const Folder folder;
  for (const char* matrix : {"bt709", "smpte170m", "bt2020nc"}) {
    for (const char* range : {"tv", "pc"}) {
      INFO(matrix << " " << range);
      const std::string scale = std::string("-vf scale=out_color_matrix=") +
                                (matrix == std::string("bt2020nc") ? "bt2020" : matrix) +
                                ":out_range=" + range + ":flags=accurate_rnd,format=yuv420p ";
      const auto file =
          ffmpeg("-f lavfi -i color=0x3070C0:size=64x48:rate=25,format=bgr24 -frames:v 1 " + scale +
                     "-colorspace " + matrix + " -color_range " + range +
                     " -c:v libx264 -qp 0 -preset ultrafast",
                 folder / "m.mp4");
      auto reader = rhumb::video::Reader::open({file});
      const auto frame = reader.next();
      REQUIRE(frame);
      rhumb::video::ColourMaker colours(reader.facts());
      const cv::Vec3b pixel = colours.bgr(*frame).at<cv::Vec3b>(20, 20);
      CHECK(std::abs(pixel[0] - 0xC0) <= 3);
      CHECK(std::abs(pixel[1] - 0x70) <= 3);
      CHECK(std::abs(pixel[2] - 0x30) <= 3);
    }
  }
}

TEST_CASE("display rotation gives the picture that ffmpeg shows") {
  const Folder folder;
  const auto plain = ffmpeg(pattern(2) + "-c:v libx264 -qp 0 -preset ultrafast -pix_fmt yuv420p",
                            folder / "plain.mp4");
  for (const int turn : {0, 90, 180, 270}) {
    INFO(turn);
    const auto turned =
        ffmpeg("-i '" + plain.string() + "' -c copy -metadata:s:v:0 rotate=" + std::to_string(turn),
               folder / "turned.mp4");
    const auto read = made::read({turned}, true);
    const cv::Size size = turn % 180 == 0 ? cv::Size(160, 120) : cv::Size(120, 160);
    CHECK(read.facts.width == size.width);
    CHECK(read.facts.height == size.height);
    const auto shown = made::planes_by_ffmpeg(turned, 'y', size);
    REQUIRE(shown.size() == read.luma.size());
    CHECK(made::largest_difference(read.luma[1], shown[1]) == 0.0);
    CHECK(made::largest_difference(read.cb[1], made::planes_by_ffmpeg(turned, 'u', size / 2)[1]) ==
          0.0);
  }
  rhumb::video::ReaderOptions as_coded;
  as_coded.honour_rotation = false;
  const auto turned = ffmpeg("-i '" + plain.string() + "' -c copy -metadata:s:v:0 rotate=90",
                             folder / "turned.mp4");
  CHECK(made::read({turned}, false, as_coded).facts.width == 160);
}

TEST_CASE("every display matrix puts a point where its formula does") {
  // libavutil/display.h: the point (p, q) goes to (a p + c q, b p + d q); signs for the eight
  // right-angled lays.
  const int one = 1 << 16;
  cv::Mat picture(6, 8, CV_8UC1, cv::Scalar(0));
  picture.at<std::uint8_t>(1, 5) = 255;  // p = 5, q = 1
  for (const bool on_side : {false, true}) {
    for (const int s : {-1, 1}) {
      for (const int t : {-1, 1}) {
        const int a = on_side ? 0 : s;
        const int d = on_side ? 0 : t;
        const int b = on_side ? s : 0;
        const int c = on_side ? t : 0;
        const auto lay = rhumb::video::lay_from_matrix(
            {a * one, b * one, 0, c * one, d * one, 0, 0, 0, 1 << 30});
        rhumb::video::Planes planes{picture.clone(), cv::Mat(3, 4, CV_8UC1, cv::Scalar(0)),
                                    cv::Mat(3, 4, CV_8UC1, cv::Scalar(0)), nullptr};
        rhumb::video::make_upright(planes, picture.size(), lay);
        const auto place = [](int coordinate, int length) {
          return coordinate < 0 ? coordinate + length - 1 : coordinate;
        };
        const int x = place(a * 5 + c * 1, planes.luma.cols);
        const int y = place(b * 5 + d * 1, planes.luma.rows);
        INFO("a " << a << " b " << b << " c " << c << " d " << d);
        CHECK(lay.is_exact);
        CHECK(planes.luma.at<std::uint8_t>(y, x) == 255);
      }
    }
  }
  CHECK_FALSE(
      rhumb::video::lay_from_matrix({one, one / 3, 0, -one / 3, one, 0, 0, 0, 1 << 30}).is_exact);
}

TEST_CASE("pixels that are not square are made square") {
  const Folder folder;
  const auto file = ffmpeg(pattern(2, "144x108") + "-vf setsar=4/3 -c:v libx264 -preset ultrafast",
                           folder / "wide.mp4");
  const auto read = made::read({file}, true);
  CHECK(read.facts.width == 192);
  CHECK(read.facts.height == 108);
  CHECK(read.luma[0].size() == cv::Size(192, 108));
  CHECK_FALSE(read.facts.notes.empty());
}

TEST_CASE("a change of picture size within a recording is brought to the first size") {
  const Folder folder;
  const auto a = ffmpeg(pattern(5) + "-c:v libx264 -preset ultrafast", folder / "a.ts");
  const auto b =
      ffmpeg(pattern(5, "320x240") + "-c:v libx264 -preset ultrafast -output_ts_offset 0.2",
             folder / "b.ts");
  made::write_bytes(folder / "both.ts", made::bytes_of(a) + made::bytes_of(b));
  const auto read = made::read({folder / "both.ts"}, true);
  CHECK(read.luma.size() == 10);
  CHECK(read.luma.back().size() == cv::Size(160, 120));
  CHECK_FALSE(read.facts.notes.empty());
}

TEST_CASE("planes stay valid after the reader is gone") {
  const Folder folder;
  const auto file = ffmpeg(pattern(12) + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  std::vector<rhumb::video::Frame> kept;
  std::vector<cv::Mat> copies;
  {
    auto reader = rhumb::video::Reader::open({file});
    while (auto frame = reader.next()) {
      copies.push_back(frame->luma.clone());
      kept.push_back(*frame);
    }
  }
  REQUIRE(kept.size() == 12);
  for (std::size_t i = 0; i < kept.size(); ++i) {
    CHECK(made::largest_difference(kept[i].luma, copies[i]) == 0.0);
  }
}
