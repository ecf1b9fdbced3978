// A lens drawn across painted pupils, all invented: the expected values are what they were painted
// from.
#include "analyze/follow_lens.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <optional>
#include <utility>

#include "analyze/refine.h"
#include "angle/angle.h"
#include "lens/drawn_patch.h"

using namespace rhumb;
using namespace rhumb::analyze;

namespace {

constexpr int resting = 60;
constexpr int leaving = 12;
constexpr int gone = 24;
constexpr std::size_t memory_bytes = 64U << 20U;

struct Painted {
  lens::PatchStore patches{{}, memory_bytes};
  std::vector<double> time_s;
  FrameReading coarse;
  WindowReading windows;

  void add(const std::vector<double>& meridians_deg, const Eigen::Vector2d& centre, bool in_path) {
    const std::uint64_t seed = time_s.size() + 1;
    patches.append(lens_test::drawn_patch(meridians_deg, centre, {}, seed));
    time_s.push_back(static_cast<double>(time_s.size()) / 30.0);
    coarse.path.phase.push_back(in_path ? timeline::Phase::Previous : timeline::Phase::None);
    coarse.path.axis_deg.push_back(in_path ? 40 : -1);
    coarse.path.moving.push_back(false);
    coarse.path.evidence.push_back(in_path ? 4.0F : 0.0F);
    coarse.posterior.lens.push_back(in_path ? 1.0F : 0.0F);
    coarse.posterior.near_path.push_back(in_path ? 1.0F : 0.0F);
    coarse.posterior.moving.push_back(0.0F);
    coarse.covered.push_back(0.0F);
    coarse.centre.emplace_back(0.0, 0.0);
  }

  FineReading read() {
    Window all;
    all.frame_count = time_s.size();
    windows.windows.push_back(all);
    windows.previous.emplace();
    windows.previous->profile.weight = {std::vector<float>(radial_grid.count, 0.0F),
                                        std::vector<float>(radial_grid.count, 0.0F)};
    FineReading fine = refine(patches, time_s, windows, coarse, true, 1);
    adopt_followed(fine, coarse);
    return fine;
  }
};

// At rest, as the path has it; then drawn `step` limbal radii a frame along `way_deg` while it
// turns by `turn_deg` a frame and the path has it no more; then not there.
Painted leaves(double step, double way_deg, double turn_deg) {
  Painted out;
  const double way = angle::rad_from_deg(way_deg);
  for (int k = 0; k < resting; ++k) out.add({40.2, 220.2}, {0.0, 0.0}, true);
  for (int k = 1; k <= leaving; ++k) {
    const double axis = 40.2 + turn_deg * k;
    out.add({axis, axis + 180.0}, step * k * Eigen::Vector2d(std::cos(way), std::sin(way)), false);
  }
  for (int k = 0; k < gone; ++k) out.add({}, {0.0, 0.0}, false);
  return out;
}

double axis_off_deg(const FineAxis& frame, double axis_deg) {
  return std::abs(
      angle::deg_from_rad(angle::wrap_deviation(frame.axis_rad - angle::rad_from_deg(axis_deg))));
}

void check_drawn_across(double way_deg) {
  CAPTURE(way_deg);
  Painted painted = leaves(0.02, way_deg, 0.05);
  const FineReading fine = painted.read();
  REQUIRE(fine.previous.both_ends);
  int followed = 0;
  for (std::size_t k = resting; k < resting + leaving; ++k) {
    const FineAxis& frame = fine.frames[k];
    if (frame.phase != timeline::Phase::Previous) continue;
    ++followed;
    CHECK(frame.followed);
    CHECK(axis_off_deg(frame, 40.2 + 0.05 * static_cast<double>(k + 1 - resting)) < 0.8);
    CHECK(painted.coarse.path.phase[k] == timeline::Phase::Previous);
    CHECK(painted.coarse.path.moving[k]);
    CHECK(painted.coarse.path.evidence[k] == 0.0F);
  }
  CHECK(followed >= leaving - 1);
  for (std::size_t k = resting + leaving; k < painted.time_s.size(); ++k)
    CHECK(painted.coarse.path.phase[k] == timeline::Phase::None);
}

}  // namespace

TEST_CASE("a lens that is drawn across the pupil is followed until it has left", "[analyze]") {
  check_drawn_across(85.0);
}

TEST_CASE("a lens that is drawn any way across the pupil is followed", "[analyze][long]") {
  check_drawn_across(GENERATE(40.0, 130.0, 260.0));
}

TEST_CASE("a lens that is turned by jerks is followed where the path is not sure", "[analyze]") {
  constexpr int turning = 6;
  constexpr double turn_deg = 4.0;  // a frame
  const bool shown = GENERATE(true, false);
  CAPTURE(shown);
  Painted painted;
  for (int k = 0; k < resting; ++k) painted.add({40.2, 220.2}, {0.0, 0.0}, true);
  for (int k = 1; k <= turning; ++k) {
    const double axis = 40.2 + turn_deg * k;
    // The instrument pushes as it turns; where it hides an end, that is no reading of both.
    const Eigen::Vector2d pushed(0.02, -0.01);
    painted.add(shown ? std::vector<double>{axis, axis + 180.0} : std::vector<double>{axis}, pushed,
                true);
    painted.coarse.posterior.near_path.back() = 0.3F;  // of 40 degrees, as before
  }
  for (int k = 0; k < resting; ++k) {
    painted.add({64.2, 244.2}, {0.0, 0.0}, true);
    painted.coarse.path.axis_deg.back() = 64;
  }
  const FineReading fine = painted.read();
  REQUIRE(fine.previous.both_ends);
  for (std::size_t k = resting; k < resting + turning - 1; ++k) {
    const FineAxis& frame = fine.frames[k];
    CAPTURE(k);
    CHECK(frame.followed == shown);
    const double axis_deg = 40.2 + turn_deg * static_cast<double>(k + 1 - resting);
    if (shown) CHECK(axis_off_deg(frame, axis_deg) < 0.8);
    CHECK((painted.coarse.posterior.near_path[k] > 0.6F) == shown);
  }
}

TEST_CASE("what the path says of a lens at rest does not hang on where it goes",
          "[analyze][long]") {
  Painted stays = leaves(0.0, 0.0, 0.0);
  Painted slides = leaves(0.02, 85.0, 0.05);
  const FineReading one = stays.read();
  const FineReading other = slides.read();
  CHECK(other.previous.steady_share == Approx(one.previous.steady_share).margin(0.02));
  for (std::size_t k = 0; k + 5 < resting; ++k)
    CHECK(std::abs(one.frames[k].axis_rad - other.frames[k].axis_rad) < 0.001);
}

TEST_CASE("a lens that vanishes from one frame to the next is not followed", "[analyze]") {
  Painted painted;
  for (int k = 0; k < resting; ++k) painted.add({40.2, 220.2}, {0.0, 0.0}, true);
  // What is left looks like marks, but not at both ends of an axis near the lens's.
  const bool one_end = GENERATE(true, false);
  CAPTURE(one_end);
  for (int k = 0; k < gone; ++k)
    painted.add(one_end ? std::vector<double>{40.2} : std::vector<double>{75.0, 255.0}, {0.0, 0.0},
                false);
  const FineReading fine = painted.read();
  for (std::size_t k = resting; k < painted.time_s.size(); ++k)
    CHECK(fine.frames[k].phase == timeline::Phase::None);
}

namespace {

// What lies there before the path finds the lens at rest at 40 degrees: `before` at these meridians
// for so many frames, after a second of nothing and before an instrument hides all while it is
// turned. What `stands` is there all along.
constexpr int hidden = 14;
Painted found_late(const std::vector<double>& before, int frames,
                   const std::vector<double>& stands = {}) {
  Painted out;
  const auto with = [&](std::vector<double> meridians) {
    meridians.insert(meridians.end(), stands.begin(), stands.end());
    return meridians;
  };
  for (int k = 0; k < resting / 2; ++k) out.add(with({}), {0.0, 0.0}, false);
  for (int k = 0; k < frames; ++k) out.add(with(before), {0.01, -0.01}, false);
  for (int k = 0; k < hidden; ++k) out.add(with({}), {0.0, 0.0}, false);
  for (int k = 0; k < resting; ++k) out.add(with({40.2, 220.2}), {0.0, 0.0}, true);
  return out;
}

void check_found_late(double axis_deg) {
  CAPTURE(axis_deg);
  constexpr int frames = 30;
  Painted painted = found_late({axis_deg, axis_deg + 180.0}, frames);
  const FineReading fine = painted.read();
  REQUIRE(fine.previous.both_ends);
  constexpr std::size_t picture = 7;  // frames of a fifth of a second, which may hold both
  for (std::size_t k = 0; k + picture < resting / 2; ++k)
    CHECK(fine.frames[k].phase == timeline::Phase::None);
  for (std::size_t k = resting / 2 + picture; k + picture < resting / 2 + frames; ++k) {
    CAPTURE(k);
    REQUIRE(fine.frames[k].phase == timeline::Phase::Previous);
    CHECK(fine.frames[k].followed);
    CHECK_FALSE(fine.frames[k].rests);
    CHECK(axis_off_deg(fine.frames[k], axis_deg) < 0.8);
  }
}

}  // namespace

TEST_CASE("a lens that the path finds late is found by its marks before that", "[analyze]") {
  check_found_late(121.3);
}

TEST_CASE("a lens that the path finds late is found at any axis", "[analyze][long]") {
  check_found_late(GENERATE(40.8, 63.5, 172.0));
}

TEST_CASE("what is no lens is not found before the path has one", "[analyze][long]") {
  const auto none_before = [](Painted painted, std::size_t to) {
    const FineReading fine = painted.read();
    REQUIRE(fine.previous.both_ends);
    for (std::size_t k = 0; k < to; ++k) {
      CAPTURE(k);
      CHECK(fine.frames[k].phase == timeline::Phase::None);
    }
  };
  SECTION("marks of the eye, which are there while the lens rests elsewhere") {
    none_before(found_late({}, 30, {100.0, 280.0}), resting / 2 + 30 + hidden);
  }
  SECTION("a mark at one end") { none_before(found_late({121.3}, 30), resting / 2 + 30 + hidden); }
  SECTION("what is there for a moment") {
    Painted painted = found_late({121.3, 301.3}, 4);
    none_before(std::move(painted), resting / 2);
  }
}
