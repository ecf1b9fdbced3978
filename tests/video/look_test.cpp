// Looking at parts of a recording: stretches, samples, single moments, and reading on a thread of
// its own.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <set>

#include "video/made.h"
#include "video/prefetch.h"
#include "video/sample.h"

namespace {

using made::ffmpeg;
using made::Folder;
using made::pattern;

// 400 pictures with a key frame every 50, as -g asks the encoder.
std::filesystem::path keyed(const Folder& folder, const char* name) {
  return ffmpeg(
      pattern(400, "96x64") + "-c:v libx264 -preset veryfast -g 50 -bf 2 -x264-params scenecut=0",
      folder / name);
}

}  // namespace

TEST_CASE("a stretch has the rows and times that it has in the whole recording") {
  const Folder folder;
  for (const char* name : {"a.mp4", "a.ts", "a.mkv"}) {
    INFO(name);
    const auto file = ffmpeg(
        pattern(500, "96x64") + "-c:v libx264 -preset veryfast -g 50 -bf 2 -x264-params open-gop=1",
        folder / name);
    const auto whole = made::read({file}, true);
    for (const double from_s : {0.5, 7.3, 12.0, 19.9}) {
      rhumb::video::ReaderOptions options;
      options.from_s = from_s;
      options.to_s = from_s + 1.0;
      const auto part = made::read({file}, true, options);
      std::size_t expected = 0;
      for (const double time : whole.times_s) {
        expected += time >= from_s && time <= from_s + 1.0 ? 1 : 0;
      }
      REQUIRE(part.times_s.size() == expected);
      for (std::size_t i = 0; i < part.times_s.size(); ++i) {
        const auto row = static_cast<std::size_t>(part.indices[i]);
        REQUIRE(row < whole.times_s.size());
        CHECK(part.times_s[i] == whole.times_s[row]);
        CHECK(made::largest_difference(part.luma[i], whole.luma[row]) == 0.0);
      }
      CHECK(part.facts.gaps.empty());
    }
  }
}

TEST_CASE("a stretch that begins at a key frame's own time begins with it") {
  const Folder folder;
  for (const char* name : {"a.mp4", "a.ts", "a.mkv"}) {
    INFO(name);
    const auto file = keyed(folder, name);
    auto through = rhumb::video::Reader::open({file}, {});
    std::vector<rhumb::video::Frame> keys;
    while (auto frame = through.next()) {
      CHECK(frame->is_key == (frame->index % 50 == 0));  // as -g 50 asks the encoder
      if (frame->is_key) keys.push_back(std::move(*frame));
    }
    REQUIRE(keys.size() == 8);
    for (const auto& key : keys) {
      rhumb::video::ReaderOptions options;
      options.from_s = key.time_s;
      const auto first = rhumb::video::Reader::open({file}, options).next();
      REQUIRE(first);
      CHECK(first->index == key.index);
      CHECK(first->is_key);
      CHECK(made::largest_difference(first->luma, key.luma) == 0.0);
    }
  }
}

TEST_CASE("stated key frames are decoded alone, and what is none is left out") {
  const Folder folder;
  for (const char* name : {"a.mp4", "a.ts", "a.mkv"}) {
    INFO(name);
    const auto file = keyed(folder, name);
    auto through = rhumb::video::Reader::open({file}, {});
    std::vector<rhumb::video::Frame> keys;
    rhumb::video::SampleOptions options;
    while (auto frame = through.next()) {
      const bool no_key = frame->index % 50 == 7;
      if (frame->is_key || no_key) options.keys_s.push_back(frame->time_s);
      if (frame->is_key) keys.push_back(std::move(*frame));
    }
    REQUIRE(keys.size() == 8);
    REQUIRE(options.keys_s.size() == 16);
    rhumb::video::Sampler sampler({file}, options);
    std::size_t given = 0;
    while (const auto frame = sampler.next()) {
      const auto same = std::find_if(keys.begin(), keys.end(), [&](const auto& key) {
        return std::abs(key.time_s - frame->time_s) < 1e-4;
      });
      REQUIRE(same != keys.end());
      CHECK(made::largest_difference(frame->luma, same->luma) == 0.0);
      ++given;
    }
    // A transport stream has no index: its key frames can't be sought to the picture.
    CHECK(given == (std::string(name) == "a.ts" ? 0 : 8));
  }
}

TEST_CASE("stamps that were read before give a stretch the same rows") {
  const Folder folder;
  const auto file =
      ffmpeg(pattern(400, "96x64") + "-c:v libx264 -preset veryfast -g 50 -bf 2", folder / "a.mp4");
  const auto stamps = rhumb::video::picture_stamps({file});
  REQUIRE(stamps->size() == 400);
  rhumb::video::ReaderOptions options;
  options.from_s = 9.0;
  const auto found = rhumb::video::Reader::open({file}, options).next();
  options.stamps = stamps;
  const auto given = rhumb::video::Reader::open({file}, options).next();
  REQUIRE(found);
  REQUIRE(given);
  CHECK(given->index == found->index);
  CHECK(given->time_s == found->time_s);
  CHECK(made::largest_difference(given->luma, found->luma) == 0.0);
  // They are what the rows are counted by: with one more before, the rows are one later.
  auto one_more = *stamps;
  one_more.insert(one_more.begin() + 100, 0.5 * (one_more[99] + one_more[100]));
  options.stamps = std::make_shared<const std::vector<double>>(one_more);
  const auto later = rhumb::video::Reader::open({file}, options).next();
  REQUIRE(later);
  CHECK(later->index == found->index + 1);
  CHECK(rhumb::video::picture_stamps({file, file})->empty());  // of parts: no common clock
}

TEST_CASE("a stretch of a recording in parts has the same rows too") {
  const Folder folder;
  const auto a = ffmpeg(pattern(200, "96x64") + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  const auto b = ffmpeg(pattern(200, "96x64") + "-c:v libx264 -preset ultrafast", folder / "b.mp4");
  rhumb::video::ReaderOptions options;
  options.from_s = 9.0;
  const auto part = made::read({a, b}, false, options);
  REQUIRE(part.times_s.size() == 175);
  CHECK(part.indices.front() == 225);
  CHECK(part.times_s.front() == Approx(9.0));
}

TEST_CASE("samples of a long recording are its own key frames, spread over all of it") {
  const Folder folder;
  const auto file = ffmpeg(pattern(1500, "96x64") + "-c:v libx264 -preset ultrafast -g 25 -bf 2",
                           folder / "a.mp4");
  const auto whole = made::read({file}, true);
  rhumb::video::SampleOptions options;
  options.count = 30;
  rhumb::video::Sampler sampler({file}, options);
  int given = 0;
  double last_s = -1.0;
  while (auto frame = sampler.next()) {
    const auto row = static_cast<std::size_t>(std::lround(frame->time_s * 25.0));
    REQUIRE(row < whole.luma.size());
    CHECK(frame->time_s == Approx(whole.times_s[row]).margin(1e-9));
    CHECK(made::largest_difference(frame->luma, whole.luma[row]) == 0.0);
    CHECK(frame->time_s > last_s);
    last_s = frame->time_s;
    ++given;
  }
  CHECK(given >= 28);
  CHECK(given <= 30);
  CHECK(last_s > 56.0);
}

TEST_CASE("samples of a short recording, or of one with few key frames, are spread as well") {
  const Folder folder;
  const auto brief =
      ffmpeg(pattern(100, "96x64") + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  const auto few =
      ffmpeg(pattern(1000, "64x48") + "-c:v libx264 -preset ultrafast -g 10000 -sc_threshold 0",
             folder / "b.mkv");
  for (const auto& file : {brief, few}) {
    rhumb::video::SampleOptions options;
    options.count = 20;
    rhumb::video::Sampler sampler({file}, options);
    std::set<double> times;
    while (auto frame = sampler.next()) {
      times.insert(frame->time_s);
    }
    const double length_s = file == brief ? 4.0 : 40.0;
    CHECK(times.size() >= 19);
    CHECK(times.size() <= 21);
    CHECK(*times.begin() == 0.0);
    CHECK(*times.rbegin() > 0.9 * length_s);
  }
}

TEST_CASE("single moments give the picture that is shown then") {
  const Folder folder;
  const auto file =
      ffmpeg(pattern(100, "96x64") + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  const auto found = rhumb::video::read_at({file}, {3.0, 0.0, 1.05, 99.0, 3.9599, 1.05});
  REQUIRE(found.size() == 6);
  CHECK(found[0]->index == 75);
  CHECK(found[1]->index == 0);
  CHECK(found[2]->index == 26);
  CHECK_FALSE((found[3] && found[3]->index != 99));
  CHECK(found[4]->index == 99);
  CHECK(found[5]->index == 26);
}

TEST_CASE("a thread of its own gives the same pictures, and stops when nobody wants more") {
  const Folder folder;
  const auto file = ffmpeg(pattern(60) + "-c:v libx264 -preset ultrafast", folder / "a.mp4");
  const auto whole = made::read({file}, true);
  rhumb::video::Prefetch ahead(rhumb::video::Reader::open({file}));
  std::size_t row = 0;
  while (auto frame = ahead.next()) {
    REQUIRE(row < whole.luma.size());
    CHECK(frame->time_s == whole.times_s[row]);
    CHECK(made::largest_difference(frame->luma, whole.luma[row]) == 0.0);
    ++row;
  }
  CHECK(row == 60);
  CHECK(ahead.facts().frames == 60);
  CHECK_FALSE(ahead.next());

  rhumb::video::Prefetch unwanted(rhumb::video::Reader::open({file}), 2);
  const auto kept = unwanted.next();
  REQUIRE(kept);
  CHECK(kept->index == 0);  // the destructor must not wait for the rest
}

TEST_CASE("what goes wrong on the thread comes out in next") {
  const Folder folder;
  const auto good = ffmpeg(pattern(5) + "-c:v libx264 -preset ultrafast", folder / "good.mp4");
  rhumb::video::Prefetch ahead(rhumb::video::Reader::open({good, folder / "absent.mp4"}));
  const auto read_all = [&] {
    while (ahead.next()) {
    }
  };
  CHECK_THROWS_AS(read_all(), rhumb::video::VideoError);
}
