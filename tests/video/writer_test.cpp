// What is written, read back by ffprobe and ffmpeg.
#include "video/writer.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "files/user_error.h"
#include "video/digest.h"
#include "video/made.h"

namespace {

using made::Folder;
using rhumb::video::Writer;
using rhumb::video::WriterOptions;

WriterOptions small() {
  WriterOptions options;
  options.width = 96;
  options.height = 64;
  options.crf = 10.0;
  return options;
}

void write(const std::filesystem::path& file, const WriterOptions& options, int frames = 30) {
  Writer writer(file, options);
  for (int i = 0; i < frames; ++i) {
    cv::Mat picture(options.height, options.width, CV_8UC3, cv::Scalar(192, 112, 48));
    picture.col(i % options.width).setTo(cv::Scalar(255, 255, 255));
    writer.add(picture, 0.04 * i + (i > 10 ? 1.2345 : 0.0));
  }
  writer.finish();
}

}  // namespace

TEST_CASE("times of any spacing come back, to the 90 kHz tick") {
  const Folder folder;
  write(folder / "a.mp4.partial", small());
  const auto times = made::probed_times(folder / "a.mp4.partial");
  REQUIRE(times.size() == 30);
  for (int i = 0; i < 30; ++i) {
    const double stated = 0.04 * i + (i > 10 ? 1.2345 : 0.0);
    CHECK(std::abs(times[static_cast<std::size_t>(i)] - stated) < 0.5 / 90000.0 + 1e-6);
  }
}

TEST_CASE("files are H.264 in yuv420p with BT.709 tags, index in front and no metadata") {
  const Folder folder;
  const auto file = folder / "a.mp4";
  write(file, small());
  const std::string about = made::output_of(
      "ffprobe -v quiet -show_entries "
      "stream=codec_name,pix_fmt,color_range,color_space,color_transfer,"
      "color_primaries:format_tags:stream_tags -of default=nw=1 '" +
      file.string() + "'");
  for (const char* fact : {"codec_name=h264", "pix_fmt=yuv420p", "color_range=tv",
                           "color_space=bt709", "color_transfer=bt709", "color_primaries=bt709"}) {
    INFO(about);
    CHECK(about.find(fact) != std::string::npos);
  }
  CHECK(about.find("creation_time") == std::string::npos);
  CHECK(about.find("TAG:encoder") == std::string::npos);
  const std::string bytes = made::bytes_of(file);
  CHECK(bytes.find("moov") < bytes.find("mdat"));
}

TEST_CASE("the same pictures give the same bytes") {
  const Folder folder;
  write(folder / "a.mp4", small());
  write(folder / "b.mp4", small());
  CHECK(rhumb::video::sha256_of_file(folder / "a.mp4") ==
        rhumb::video::sha256_of_file(folder / "b.mp4"));
}

TEST_CASE("BGR is coded by BT.709 in limited range") {
  const Folder folder;
  write(folder / "a.mp4", small(), 3);
  const auto read = made::read({folder / "a.mp4"}, true);
  // Recommendation ITU-R BT.709: Y' = 0.2126 R + 0.7152 G + 0.0722 B; 16 + 219 Y'; Cb = (B - Y')
  // / 1.8556.
  const double luma = (0.2126 * 48 + 0.7152 * 112 + 0.0722 * 192) / 255.0;
  CHECK(std::abs(read.luma[0].at<std::uint8_t>(30, 60) - (16.0 + 219.0 * luma)) <= 1.5);
  CHECK(std::abs(read.cb[0].at<std::uint8_t>(15, 30) -
                 (128.0 + 224.0 * (192.0 / 255.0 - luma) / 1.8556)) <= 2.0);
  CHECK(std::abs(read.cr[0].at<std::uint8_t>(15, 30) -
                 (128.0 + 224.0 * (48.0 / 255.0 - luma) / 1.5748)) <= 2.0);
}

TEST_CASE("planes and luma alone are taken as they are") {
  const Folder folder;
  WriterOptions options = small();
  options.crf = 0.0;
  {
    Writer writer(folder / "a.mp4", options);
    const cv::Mat luma(64, 96, CV_8UC1, cv::Scalar(77));
    writer.add(luma, cv::Mat(32, 48, CV_8UC1, cv::Scalar(90)),
               cv::Mat(32, 48, CV_8UC1, cv::Scalar(160)), 0.0);
    writer.add(luma, 0.04);
    writer.finish();
  }
  const auto read = made::read({folder / "a.mp4"}, true);
  REQUIRE(read.luma.size() == 2);
  CHECK(std::abs(read.luma[0].at<std::uint8_t>(9, 9) - 77) <= 1);
  CHECK(std::abs(read.cb[0].at<std::uint8_t>(9, 9) - 90) <= 1);
  CHECK(std::abs(read.cr[0].at<std::uint8_t>(9, 9) - 160) <= 1);
  CHECK(std::abs(read.cr[1].at<std::uint8_t>(9, 9) - 128) <= 1);
}

TEST_CASE("rotation and fields are written as asked") {
  const Folder folder;
  WriterOptions options = small();
  options.rotation_deg = 90;
  options.interlaced = true;
  write(folder / "a.mp4", options);
  const auto facts = rhumb::video::probe({folder / "a.mp4"});
  CHECK(facts.rotation_deg == 90);
  CHECK(facts.width == 64);
  const std::string about =
      made::output_of("ffprobe -v quiet -show_entries stream=field_order -of default=nw=1 '" +
                      (folder / "a.mp4").string() + "'");
  CHECK(about.find("field_order=tt") != std::string::npos);
}

TEST_CASE("what can't be written is refused") {
  const Folder folder;
  CHECK_THROWS_AS(Writer(folder / "absent" / "a.mp4", small()), rhumb::UserError);
  WriterOptions odd = small();
  odd.width = 95;
  CHECK_THROWS_AS(Writer(folder / "a.mp4", odd), std::invalid_argument);
  Writer writer(folder / "b.mp4", small());
  const cv::Mat picture(64, 96, CV_8UC3, cv::Scalar(0, 0, 0));
  writer.add(picture, 1.0);
  CHECK_THROWS_AS(writer.add(picture, 1.0), std::invalid_argument);
  CHECK_THROWS_AS(writer.add(cv::Mat(10, 10, CV_8UC3), 2.0), std::invalid_argument);
}

TEST_CASE("a full disk is said") {
  if (!std::filesystem::exists("/dev/full")) {
    return;
  }
  const auto fill = [] {
    Writer writer("/dev/full", small());
    cv::Mat noise(64, 96, CV_8UC3);
    for (int i = 0; i < 400; ++i) {
      cv::randu(noise, 0, 255);
      writer.add(noise, 0.04 * i);
    }
    writer.finish();
  };
  CHECK_THROWS_AS(fill(), rhumb::UserError);
}

TEST_CASE("fingerprints are SHA-256") {
  // FIPS 180-4 examples (values from memory): "abc", and the empty message.
  CHECK(rhumb::video::sha256_of_text("abc") ==
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(rhumb::video::sha256_of_text("") ==
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  const Folder folder;
  made::write_bytes(folder / "big", std::string(3'000'001, 'x'));
  const std::string by_tool = made::output_of("sha256sum '" + (folder / "big").string() + "'");
  CHECK(rhumb::video::sha256_of_file(folder / "big") == by_tool.substr(0, 64));
}
