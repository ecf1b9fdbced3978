// Broken, hostile and wrong files: reading goes on, ends, or says in one line what is wrong.
#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <random>

#include "video/error.h"
#include "video/made.h"

namespace {

using made::ffmpeg;
using made::Folder;
using made::pattern;

std::string refusal(const std::filesystem::path& file) {
  try {
    made::read({file});
  } catch (const rhumb::video::VideoError& error) {
    CHECK(error.file() == file.string());
    CHECK_FALSE(error.mend().empty());
    const std::string line = error.what();
    CHECK(line.find('\n') == std::string::npos);
    return error.problem();
  }
  return "was read";
}

// Times grow and pictures have the promised shape, whatever the bytes are.
std::size_t frames_of(const std::filesystem::path& file) {
  try {
    const auto read = made::read({file});
    for (std::size_t i = 1; i < read.times_s.size(); ++i) {
      REQUIRE(read.times_s[i] > read.times_s[i - 1]);
    }
    return read.times_s.size();
  } catch (const rhumb::video::VideoError&) {
    return 0;
  }
}

std::string flipped(std::string bytes, std::mt19937& random, int count, std::size_t from,
                    std::size_t to) {
  for (int i = 0; i < count; ++i) {
    bytes[from + random() % (to - from)] ^= static_cast<char>(1U << (random() % 8));
  }
  return bytes;
}

}  // namespace

TEST_CASE("what is no video is refused in one line") {
  const Folder folder;
  made::write_bytes(folder / "empty.mp4", "");
  made::write_bytes(folder / "text.mp4",
                    std::string(3000, 'a') + "\nThis is a letter and not a film.\n");
  std::filesystem::create_directory(folder / "folder.mp4");
  REQUIRE(::mkfifo((folder / "pipe.mp4").c_str(), 0600) == 0);
  ffmpeg("-f lavfi -i sine=duration=1 -c:a aac", folder / "audio.mp4");
  CHECK(refusal(folder / "empty.mp4").find("empty") != std::string::npos);
  CHECK(refusal(folder / "text.mp4").find("not a video") != std::string::npos);
  CHECK(refusal(folder / "folder.mp4").find("folder") != std::string::npos);
  CHECK(refusal(folder / "pipe.mp4").find("regular file") != std::string::npos);
  CHECK(refusal(folder / "audio.mp4").find("no video stream") != std::string::npos);
  CHECK(refusal(folder / "absent.mp4").find("can't be opened") != std::string::npos);
  CHECK(refusal("/dev/zero").find("regular file") != std::string::npos);
}

TEST_CASE("a play list never leads to another file") {
  const Folder folder;
  const auto clip = ffmpeg(pattern(10) + "-c:v libx264 -preset ultrafast", folder / "clip.ts");
  made::write_bytes(folder / "list.m3u8", "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:0.4,\n" +
                                              clip.string() + "\n#EXT-X-ENDLIST\n");
  made::write_bytes(folder / "list.mp4", "ffconcat version 1.0\nfile '" + clip.string() + "'\n");
  CHECK(refusal(folder / "list.m3u8") != "was read");
  CHECK(refusal(folder / "list.mp4") != "was read");
}

TEST_CASE("with 60 flipped bytes nearly all pictures still come") {
  const Folder folder;
  const auto whole =
      ffmpeg(pattern(240, "320x240") + "-c:v libx264 -preset veryfast -g 50", folder / "whole.mkv");
  const auto transport = ffmpeg("-i '" + whole.string() + "' -c copy", folder / "whole.ts");
  const auto mp4 = ffmpeg("-i '" + whole.string() + "' -c copy", folder / "whole.mp4");
  std::mt19937 random(11);
  for (const auto& file : {mp4, transport, whole}) {
    const std::string bytes = made::bytes_of(file);
    for (int trial = 0; trial < 3; ++trial) {
      // The stream itself, not the boxes at the ends that say how to read it.
      made::write_bytes(folder / "bad", flipped(bytes, random, 60, 4000, bytes.size() - 12000));
      const auto read = made::read({folder / "bad"});
      INFO(file << " trial " << trial);
      CHECK(read.times_s.size() >= 225);
      CHECK(read.times_s.size() <= 240);
      CHECK(read.facts.concealed_frames + read.facts.damaged_packets > 0);
    }
  }
}

TEST_CASE("a damaged file gives the same pictures on every run and with any number of threads") {
  const Folder folder;
  const auto whole = ffmpeg(pattern(60, "320x240") + "-c:v libx264 -preset veryfast -bf 3 -g 20",
                            folder / "whole.mp4");
  const std::string bytes = made::bytes_of(whole);
  std::mt19937 random(5);
  for (int trial = 0; trial < 4; ++trial) {
    made::write_bytes(folder / "bad.mp4",
                      flipped(bytes, random, 1 + 6 * trial, 4000, bytes.size() - 4000));
    rhumb::video::ReaderOptions options;
    options.decoder_threads = 1;
    const auto one = made::read({folder / "bad.mp4"}, true, options);
    for (const int threads : {2, 3, 8}) {
      options.decoder_threads = threads;
      const auto more = made::read({folder / "bad.mp4"}, true, options);
      REQUIRE(one.luma.size() == more.luma.size());
      CHECK(one.times_s == more.times_s);
      CHECK(one.facts.concealed_frames == more.facts.concealed_frames);
      CHECK(one.facts.damaged_packets == more.facts.damaged_packets);
      for (std::size_t i = 0; i < one.luma.size(); ++i) {
        REQUIRE(made::largest_difference(one.luma[i], more.luma[i]) == 0.0);
      }
    }
  }
}

TEST_CASE("a file that stops early is read up to there") {
  const Folder folder;
  for (const char* name : {"a.ts", "a.mkv", "a.mp4"}) {
    const auto whole =
        ffmpeg(pattern(50) + "-c:v libx264 -preset ultrafast -movflags +faststart", folder / name);
    const std::string bytes = made::bytes_of(whole);
    std::size_t before = 0;
    for (const double share : {0.3, 0.5, 0.7, 0.9}) {
      made::write_bytes(
          folder / "cut",
          bytes.substr(0, static_cast<std::size_t>(share * static_cast<double>(bytes.size()))));
      const std::size_t now = frames_of(folder / "cut");
      CHECK(now >= before);
      before = now;
      INFO(name << " " << share << " " << now);
      CHECK(static_cast<double>(now) > (share - 0.2) * 50.0);
    }
  }
  const auto at_end = ffmpeg(pattern(50) + "-c:v libx264 -preset ultrafast",
                             folder / "late.mp4");  // index at the end
  const std::string bytes = made::bytes_of(at_end);
  made::write_bytes(folder / "cut.mp4", bytes.substr(0, bytes.size() / 2));
  CHECK(refusal(folder / "cut.mp4").find("can be read") != std::string::npos);
}

TEST_CASE(
    "cut at every kilobyte and with random bytes flipped anywhere, reading ends in good order") {
  const Folder folder;
  std::mt19937 random(2);
  for (const char* name : {"s.mp4", "s.ts", "s.mkv"}) {
    const auto whole =
        ffmpeg(pattern(12, "96x64") + "-c:v libx264 -preset ultrafast -crf 30 -movflags +faststart",
               folder / name);
    const std::string bytes = made::bytes_of(whole);
    for (std::size_t length = 1; length < bytes.size(); length += 1024) {
      made::write_bytes(folder / "cut", bytes.substr(0, length));
      CHECK(frames_of(folder / "cut") <= 12);
    }
    for (int trial = 0; trial < 60; ++trial) {
      made::write_bytes(folder / "bad", flipped(bytes, random, 1 + trial % 20, 0, bytes.size()));
      frames_of(folder / "bad");
    }
  }
}

TEST_CASE("tiny, large and single pictures are read") {
  const Folder folder;
  CHECK(frames_of(ffmpeg(pattern(1) + "-c:v libx264 -preset ultrafast", folder / "one.mp4")) == 1);
  CHECK(frames_of(ffmpeg(pattern(3, "16x16") + "-vf scale=1:1,format=yuv444p -c:v ffv1",
                         folder / "dot.mkv")) == 3);
  CHECK(frames_of(ffmpeg("-f lavfi -i color=gray:size=7680x4320:rate=25 -frames:v 2 -c:v mjpeg",
                         folder / "8k.avi")) == 2);
  CHECK(frames_of(ffmpeg(pattern(1) + "-c:v png", folder / "still.png")) == 1);
}

TEST_CASE("a recording of many tiny pictures is read in bounded time") {
  const Folder folder;
  const auto file = ffmpeg("-f lavfi -i color=gray:size=16x16:rate=1000 -frames:v 20000 -c:v mpeg4",
                           folder / "many.avi");
  const auto start = std::chrono::steady_clock::now();
  CHECK(frames_of(file) == 20000);
  CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(60));
}

TEST_CASE("a second part that is no video is named") {
  const Folder folder;
  const auto good = ffmpeg(pattern(5) + "-c:v libx264 -preset ultrafast", folder / "good.mp4");
  made::write_bytes(folder / "bad.mp4", "nothing");
  std::string said;
  try {
    made::read({good, folder / "bad.mp4"});
  } catch (const rhumb::video::VideoError& error) {
    said = error.file();
  }
  CHECK(said == (folder / "bad.mp4").string());
}

TEST_CASE("reading stops when it is cancelled") {
  const Folder folder;
  const auto file = ffmpeg(pattern(50) + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  std::stop_source stop;
  rhumb::video::ReaderOptions options;
  options.cancel = stop.get_token();
  auto reader = rhumb::video::Reader::open({file}, options);
  CHECK(reader.next());
  stop.request_stop();
  CHECK_FALSE(reader.next());
  CHECK_THROWS_AS(rhumb::video::Reader::open({file}, options), rhumb::Interrupted);
}
