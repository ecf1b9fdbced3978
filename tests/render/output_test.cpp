// What the renderer writes: the same bytes on any number of threads, files that other tools read.
#include <malloc.h>

#include <array>
#include <catch2/catch.hpp>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <set>
#include <sstream>

#include "angle/angle.h"
#include "casefile/read.h"
#include "files/user_error.h"
#include "folder.h"
#include "plain.h"
#include "render/camera.h"
#include "render/produce.h"
#include "render/rng.h"
#include "render/scene_file.h"
#include "render/truth.h"

using namespace rhumb;
using namespace rhumb::render;
using rhumb::render::testing::Folder;
namespace fs = std::filesystem;

namespace {

std::string text_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream all_text;
  all_text << in.rdbuf();
  return all_text.str();
}

std::string output_of(const std::string& command) {
  std::FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::string out;
  std::array<char, 4096> part{};
  while (std::fgets(part.data(), static_cast<int>(part.size()), pipe) != nullptr)
    out += part.data();
  REQUIRE(pclose(pipe) == 0);
  return out;
}

Scene small(const char* name) {
  Scene s = read_scene(fs::path(RHUMB_FIXTURES) / "scenes" / name);
  s.camera.width = 320;
  s.camera.height = 180;
  return s;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

}  // namespace

TEST_CASE("Pictures do not depend on the number of threads") {
  for (const char* name : {"routine.toml", "mirrored.toml"}) {
    const Scene s = small(name);
    const Stage stage(s);
    const Stage again(s);
    Camera one(stage, 1);
    Camera three(again, 3);
    const Picture a = one.take(4.7, 117);
    const Picture b = three.take(4.7, 117);
    CHECK(cv::norm(a.luma, b.luma, cv::NORM_INF) == 0.0);
    CHECK(cv::norm(a.cb, b.cb, cv::NORM_INF) == 0.0);
    CHECK(cv::norm(a.cr, b.cr, cv::NORM_INF) == 0.0);
    CHECK(cv::norm(a.luma, one.take(4.7, 118).luma, cv::NORM_INF) > 0.0);  // the grain differs
  }
}

TEST_CASE("Coded bytes depend neither on threads nor on what memory held before") {
  // glibc's M_PERTURB fills fresh memory with a given byte (its manual, mallopt(3)).
  std::set<std::string> videos;
  Scene s = small("routine.toml");
  s.camera.width = 480;
  s.camera.height = 272;
  for (const int filling : {0, 85, 165}) {
    const Folder folder;
    ProduceOptions options;
    options.frames = 30;
    options.threads = filling == 0 ? 1 : 3;
    mallopt(M_PERTURB, filling);
    produce(s, folder.path, options);
    mallopt(M_PERTURB, 0);
    videos.insert(text_of(folder.path / "video.mp4"));
  }
  CHECK(videos.size() == 1);
}

TEST_CASE("The random numbers are those of the published generator") {
  // SplitMix64's first outputs for state 1234567 (values from memory of its reference code's
  // tests).
  const std::uint64_t step = 0x9e3779b97f4a7c15ULL;
  CHECK(mix(1234567) == 6457827717110365317ULL);
  CHECK(mix(1234567 + step) == 3203168211198807973ULL);
  Rng rng(5);
  double sum = 0.0;
  double squares = 0.0;
  for (int i = 0; i < 20000; ++i) {
    const double v = rng.normal();
    sum += v;
    squares += v * v;
  }
  CHECK(sum / 20000 == Approx(0.0).margin(0.03));
  CHECK(squares / 20000 == Approx(1.0).margin(0.04));
}

TEST_CASE("ffprobe reads back size, rate, times and field order") {
  for (const bool interlaced : {false, true}) {
    const Folder folder;
    Scene s = small("routine.toml");
    s.camera.interlaced = interlaced;
    ProduceOptions options;
    options.frames = 9;
    produce(s, folder.path, options);
    const std::string file = (folder.path / "video.mp4").string();
    const auto probe = nlohmann::json::parse(output_of(
        "ffprobe -v error -select_streams v:0 -show_streams -show_frames -of json '" + file + "'"));
    const auto& stream = probe["streams"][0];
    CHECK(stream["codec_name"] == "h264");
    CHECK(stream["pix_fmt"] == "yuv420p");
    CHECK(stream["width"] == 320);
    CHECK(stream["height"] == 180);
    CHECK(stream["color_space"] == "bt709");
    CHECK(stream["field_order"] == (interlaced ? "tt" : "progressive"));
    const auto rows = lines_of(text_of(folder.path / "truth.csv"));
    REQUIRE(probe["frames"].size() == 9);
    REQUIRE(rows.size() == 10);
    for (std::size_t i = 0; i < 9; ++i) {
      const double time_s =
          std::stod(probe["frames"][i]["best_effort_timestamp_time"].get<std::string>());
      CHECK(time_s == Approx(static_cast<double>(i) / 25.0).margin(1e-4));
      CHECK(std::stod(rows[i + 1].substr(rows[i + 1].find(',') + 1)) ==
            Approx(time_s).margin(1e-4));
    }
  }
}

TEST_CASE("Every scene that ships makes a case or series that the program reads", "[long]") {
  int cases = 0;
  int series = 0;
  for (const auto& entry : fs::directory_iterator(fs::path(RHUMB_FIXTURES) / "scenes")) {
    INFO(entry.path());
    const Folder folder;
    Scene s = read_scene(entry.path());
    CHECK_FALSE(s.shows.empty());
    s.camera.width = 160;
    s.camera.height = 120;
    ProduceOptions options;
    options.frames = 2;
    if (!s.visits.empty()) {
      ++series;
      s.visits.resize(1);
      produce(s, folder.path, options);
      const auto read = casefile::read_series(folder.path / "series.toml");
      CHECK(read.visits.size() == 1);
      continue;
    }
    ++cases;
    produce(s, folder.path, options);
    const auto read = casefile::read_case(folder.path / "case.toml");
    CHECK(read.video.mirrored == s.microscope.mirrored);
    CHECK((read.eye == casefile::Eye::Left) == s.eye.left);
    CHECK(read.lens.marks_per_end == s.lens.per_end);
    const auto truth = nlohmann::json::parse(text_of(folder.path / "truth.json"));
    CHECK(truth["frames"] == 2);
  }
  CHECK(cases >= 9);
  CHECK(series >= 3);
}

TEST_CASE("Truth follows the steps: lens states, axes, relative axes") {
  Scene s = small("exchange.toml");
  const Stage stage(s);
  const TruthRow start = truth_at(stage, 0, 0.5);
  CHECK(start.lens_in_eye);
  CHECK(start.previous);
  CHECK(*start.axis_rad == Approx(angle::rad_from_deg(151.3)));
  const TruthRow empty = truth_at(stage, 0, 7.0);
  CHECK_FALSE(empty.lens_in_eye);
  CHECK_FALSE(empty.axis_rad.has_value());
  const TruthRow end = truth_at(stage, 0, 13.5);
  CHECK(end.lens_in_eye);
  CHECK_FALSE(end.previous);
  CHECK(*end.axis_rad == Approx(angle::rad_from_deg(19.1)).margin(1e-9));
  CHECK(planned_axis(s) == Approx(angle::rad_from_deg(151.3 + 47.0 - 180.0)));
  s.previous_axis_known = false;
  CHECK(*truth_at(Stage(s), 0, 13.5).axis_rad == Approx(angle::rad_from_deg(19.1 - 151.3 + 180.0)));
  CHECK(planned_axis(s) == Approx(angle::rad_from_deg(47.0)));
}

TEST_CASE("Marks that hide behind the iris, or are faint, are called unreadable") {
  Scene s = small("routine.toml");
  s.camera.width = 1280;
  s.camera.height = 720;
  CHECK(truth_at(Stage(s), 0, 9.5).readable() > 0.9);
  s.eye.pupil_mm = 4.0;
  CHECK(truth_at(Stage(s), 0, 9.5).readable() == 0.0);
  s.eye.pupil_mm = 6.8;
  s.lens.contrast = 0.02;
  s.lens.grey = 0.0;
  CHECK(truth_at(Stage(s), 0, 9.5).readable() < 0.1);
}

TEST_CASE("Faults in a scene file are one line with file, place and mend") {
  const Folder folder;
  const fs::path file = folder.path / "scene.toml";
  const auto message = [&](const std::string& text) {
    std::ofstream(file) << text;
    try {
      read_scene(file);
    } catch (const UserError& error) {
      return std::string(error.what());
    }
    return std::string("accepted");
  };
  CHECK(message("[eye]\npupil_mm = 99.0\n")
            .find("line 2, eye.pupil_mm: 99 lies outside 1.5 to 9.5") != std::string::npos);
  CHECK(message("[eye]\npupil = 6.0\n").find("eye.pupil: is not known here") != std::string::npos);
  CHECK(message("[lens]\nmarks = \"stars\"\n").find("write one of: dots, lines, none") !=
        std::string::npos);
  CHECK(message("[eye\n").find("line 1") != std::string::npos);
  CHECK(message("[[step]]\ndo = \"insert\"\n").find("accepted") != std::string::npos);
  CHECK(message("").find("accepted") != std::string::npos);
}
