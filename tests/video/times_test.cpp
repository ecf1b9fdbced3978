// Frame times against ffprobe (FFmpeg's own reading of the same file), in several containers.
#include <catch2/catch.hpp>
#include <cmath>

#include "video/made.h"

namespace {

using made::ffmpeg;
using made::Folder;
using made::pattern;

// ffprobe prints microseconds.
constexpr double print_s = 1.1e-6;

void check_against_ffprobe(const std::filesystem::path& file) {
  INFO(file);
  const auto probed = made::probed_times(file);
  const auto read = made::read({file});
  REQUIRE(read.times_s.size() == probed.size());
  REQUIRE(!probed.empty());
  double worst = 0.0;
  for (std::size_t i = 0; i < probed.size(); ++i) {
    worst = std::max(worst, std::abs(probed[i] - read.times_s[i]));
    CHECK(read.indices[i] == static_cast<std::int64_t>(i));
  }
  CHECK(worst < print_s);
  CHECK(read.facts.repaired_stamps == 0);
  CHECK(read.facts.missing_stamps == 0);
  CHECK(read.facts.damaged_packets == 0);
}

// Pictures 0 to 9 at 25 Hz, then every third left out and a stretch at 60 Hz: unequal intervals.
const std::string uneven =
    " -vf \"settb=1/90000,setpts='if(lt(N,10),N*3600,36000+(N-10)*1500+mod(N,3)*700)'\" -fps_mode "
    "passthrough ";

}  // namespace

TEST_CASE("constant rate in MP4, MKV, MPEG transport stream and AVI has ffprobe's times") {
  const Folder folder;
  for (const char* name : {"a.mp4", "a.mkv", "a.mts", "a.avi", "a.mov"}) {
    check_against_ffprobe(ffmpeg(pattern(40) + "-c:v libx264 -preset ultrafast", folder / name));
  }
}

TEST_CASE("bidirectional prediction does not disturb the order or the times") {
  const Folder folder;
  for (const char* name : {"b.mp4", "b.mkv", "b.mts"}) {
    check_against_ffprobe(ffmpeg(
        pattern(60) +
            "-c:v libx264 -preset veryfast -bf 3 -x264-params b-pyramid=normal:open-gop=1 -g 24",
        folder / name));
  }
}

TEST_CASE("variable rate has ffprobe's times") {
  const Folder folder;
  for (const char* name : {"v.mp4", "v.mkv", "v.mts"}) {
    check_against_ffprobe(
        ffmpeg(pattern(60) + uneven + "-c:v libx264 -preset veryfast -enc_time_base 1/90000",
               folder / name));
  }
}

TEST_CASE("rates that are no decimal fractions keep their times over a long run") {
  const Folder folder;
  check_against_ffprobe(ffmpeg(
      pattern(300, "64x48", "30000/1001") + "-c:v libx264 -preset ultrafast", folder / "n.mp4"));
  check_against_ffprobe(ffmpeg(
      pattern(300, "64x48", "60000/1001") + "-c:v libx264 -preset ultrafast", folder / "m.mts"));
}

TEST_CASE("an edit list that trims the start is honoured") {
  const Folder folder;
  const auto whole =
      ffmpeg(pattern(100) + "-c:v libx264 -preset veryfast -g 50 -bf 2", folder / "whole.mp4");
  const auto trimmed =
      ffmpeg("-ss 2.5 -i '" + whole.string() + "' -c copy", folder / "trimmed.mp4");
  check_against_ffprobe(trimmed);
  // The pictures between the key frame at 2 s and the cut at 2.5 s lie in the file, but are not
  // shown.
  CHECK(made::read({trimmed}).times_s.size() < 50);
}

TEST_CASE("a file whose clock does not start at zero counts from its first picture") {
  const Folder folder;
  const auto file = ffmpeg(
      "-itsoffset 3600 " + pattern(20) + "-c:v libx264 -preset ultrafast -output_ts_offset 3600",
      folder / "late.mts");
  check_against_ffprobe(file);
  CHECK(made::read({file}).times_s.front() == 0.0);
}

TEST_CASE("a transport stream that starts between key frames begins where ffprobe begins") {
  const Folder folder;
  const auto whole =
      ffmpeg(pattern(90) + "-c:v libx264 -preset veryfast -g 30 -bf 2", folder / "whole.mts");
  const std::string bytes = made::bytes_of(whole);
  const std::size_t cut =
      bytes.size() / 5 / 188 * 188;  // transport packets have 188 bytes (ISO/IEC 13818-1)
  made::write_bytes(folder / "cut.mts", bytes.substr(cut));
  check_against_ffprobe(folder / "cut.mts");
}

TEST_CASE("parts of one recording follow each other by one interval") {
  const Folder folder;
  const auto a = ffmpeg(pattern(30) + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  const auto b = ffmpeg(pattern(20) + "-c:v libx264 -preset ultrafast", folder / "b.mts");
  const auto read = made::read({a, b, a});
  REQUIRE(read.times_s.size() == 80);
  for (std::size_t i = 0; i < read.times_s.size(); ++i) {
    CHECK(read.times_s[i] == Approx(static_cast<double>(i) / 25.0).margin(1e-9));
    CHECK(read.indices[i] == static_cast<std::int64_t>(i));
  }
  REQUIRE(read.facts.part_starts_s.size() == 3);
  CHECK(read.facts.part_starts_s[1] == Approx(1.2));
  CHECK(read.facts.part_starts_s[2] == Approx(2.0));
  CHECK(read.facts.duration_s == Approx(80.0 / 25.0));
}

// As a recorder writes it that was switched off and on within one transport stream.
TEST_CASE("a clock that starts again within a part is counted") {
  const Folder folder;
  const auto once = ffmpeg(pattern(30) + "-c:v libx264 -preset ultrafast", folder / "once.mts");
  CHECK(made::read({once}).facts.clock_restarts == 0);
  const std::string bytes = made::bytes_of(once);
  made::write_bytes(folder / "twice.mts", bytes + bytes);
  const auto read = made::read({folder / "twice.mts"});
  REQUIRE(read.times_s.size() == 60);
  CHECK(read.facts.clock_restarts == 1);
  CHECK(read.times_s[59] == Approx(59.0 / 25.0));
}

TEST_CASE("a pause in the recording is kept and listed") {
  const Folder folder;
  const auto file =
      ffmpeg(pattern(40) +
                 "-vf \"settb=1/90000,setpts='N*3600+gte(N,20)*3600*90000'\" -fps_mode "
                 "passthrough -enc_time_base 1/90000 -c:v libx264 -preset ultrafast",
             folder / "pause.mkv");
  check_against_ffprobe(file);
  const auto read = made::read({file});
  REQUIRE(read.facts.gaps.size() == 1);
  CHECK(read.facts.gaps[0].end_s - read.facts.gaps[0].start_s == Approx(3600.04));
}
