#include "timeline/axis_model.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <vector>

using namespace rhumb::timeline;

namespace {

// Evidence as clear marks at one axis give it: high there and a little about it, low elsewhere.
AxisEvidence marks_at(int axis_deg, float strength = 6.0F) {
  AxisEvidence evidence;
  evidence.log_ratio.fill(-2.0F);
  for (int turn = -1; turn <= 1; ++turn) {
    evidence.log_ratio[static_cast<std::size_t>((axis_deg + turn + axis_count) % axis_count)] =
        turn == 0 ? strength : 0.5F * strength;
  }
  return evidence;
}

AxisEvidence nothing() {
  AxisEvidence evidence;
  evidence.log_ratio.fill(-3.0F);
  return evidence;
}

// Evidence for both lenses, some steps at a time.
struct Exchange {
  std::vector<AxisEvidence> previous;
  std::vector<AxisEvidence> current;
  void add(int steps, const AxisEvidence& old_lens, const AxisEvidence& new_lens) {
    previous.insert(previous.end(), static_cast<std::size_t>(steps), old_lens);
    current.insert(current.end(), static_cast<std::size_t>(steps), new_lens);
  }
};

}  // namespace

TEST_CASE(
    "the path finds where a lens comes, rests, is turned across 180 degrees and rests again") {
  std::vector<AxisEvidence> current;
  for (int k = 0; k < 30; ++k) current.push_back(nothing());
  for (int k = 0; k < 40; ++k) current.push_back(marks_at(170));
  for (int k = 1; k <= 10; ++k) current.push_back(marks_at((170 + 2 * k) % 180));
  for (int k = 0; k < 40; ++k) current.push_back(marks_at(10));
  const std::vector<AxisEvidence> previous(current.size());
  const AxisPath path = most_probable_path(previous, current, {});
  CHECK(path.phase[10] == Phase::None);
  CHECK(path.axis_deg[10] == -1);
  CHECK(path.phase[50] == Phase::New);
  CHECK(path.axis_deg[50] == 170);
  CHECK_FALSE(path.moving[50]);
  CHECK(path.moving[75]);
  CHECK(path.axis_deg[110] == 10);
  const AxisPosterior posterior = posterior_about(path, previous, current, {});
  CHECK(posterior.lens[10] < 0.01F);
  CHECK(posterior.near_path[110] > 0.99F);
}

TEST_CASE("without evidence there is no lens, and nothing is a number out of nowhere") {
  const std::vector<AxisEvidence> none(50, nothing());
  const AxisPath path = most_probable_path(none, none, {});
  for (const Phase phase : path.phase) CHECK(phase == Phase::None);
  CHECK(path.log_ratio == 0.0);
  CHECK(most_probable_path({}, {}, {}).phase.empty());
}

TEST_CASE("an exchange is a previous lens, a gap and a new lens") {
  Exchange seen;
  seen.add(50, marks_at(20), nothing());
  seen.add(50, nothing(), nothing());
  seen.add(50, nothing(), marks_at(45));
  AxisModelOptions options;
  options.previous_lens = true;
  const AxisPath path = most_probable_path(seen.previous, seen.current, options);
  CHECK(path.phase[25] == Phase::Previous);
  CHECK(path.axis_deg[25] == 20);
  CHECK(path.phase[75] == Phase::None);
  CHECK(path.phase[125] == Phase::New);
  CHECK(path.axis_deg[125] == 45);
}

TEST_CASE(
    "of two lenses with the same marks the second is the new one, since exchanges are finished") {
  std::vector<AxisEvidence> both;
  const auto add = [&both](const AxisEvidence& what, int windows) {
    both.insert(both.end(), static_cast<std::size_t>(windows), what);
  };
  AxisEvidence barely = nothing();
  barely.log_ratio.fill(-0.5F);
  add(marks_at(63), 6);
  add(barely, 2);
  add(marks_at(99), 8);
  AxisModelOptions options;
  options.step_s = 0.5;
  options.previous_lens = true;
  const AxisPath path = most_probable_path(both, both, options);
  CHECK(path.phase[3] == Phase::Previous);
  CHECK(path.axis_deg[3] == 63);
  CHECK(path.phase[12] == Phase::New);
  CHECK(path.axis_deg[12] == 99);
  const AxisPosterior posterior = posterior_about(path, both, both, options);
  CHECK(posterior.near_path[12] > 0.8F);

  options.ends_with_previous = 0.5;
  CHECK(most_probable_path(both, both, options).phase[12] == Phase::Previous);

  SECTION("while one that is seen throughout stays the previous one") {
    const std::vector<AxisEvidence> throughout(16, marks_at(63));
    options.ends_with_previous = AxisModelOptions{}.ends_with_previous;
    CHECK(most_probable_path(throughout, throughout, options).phase[15] == Phase::Previous);
  }
}

TEST_CASE("the last turns of a previous lens are not taken for a new one that comes at once") {
  // What turns from 0 to 30 degrees looks more like the new lens's marks than like its own; it
  // goes, and two seconds later the new lens comes.
  Exchange seen;
  seen.add(60, marks_at(0), nothing());
  seen.add(3, nothing(), nothing());
  seen.add(20, marks_at(30, 2.0F), marks_at(30, 3.0F));
  seen.add(50, nothing(), nothing());
  seen.add(60, nothing(), marks_at(120));
  AxisModelOptions options;
  options.step_s = 0.04;
  options.previous_lens = true;
  const AxisPath path = most_probable_path(seen.previous, seen.current, options);
  CHECK(path.phase[75] == Phase::Previous);
  CHECK(path.axis_deg[75] == 30);
  CHECK(path.phase[110] == Phase::None);
  CHECK(path.phase[180] == Phase::New);
  const AxisPosterior posterior = posterior_about(path, seen.previous, seen.current, options);
  CHECK(posterior.near_path[75] > 0.9F);
  CHECK(posterior.lens[110] < 0.1F);

  options.least_gap_s = 0.0;
  CHECK(most_probable_path(seen.previous, seen.current, options).phase[75] == Phase::New);
}

TEST_CASE("a gap between two lenses lasts its least time in path and posterior") {
  Exchange seen;
  seen.add(50, marks_at(10), nothing());
  seen.add(80, nothing(), marks_at(100));
  AxisModelOptions options;
  options.step_s = 0.04;
  options.previous_lens = true;
  const AxisPath path = most_probable_path(seen.previous, seen.current, options);
  const auto none = std::count(path.phase.begin(), path.phase.end(), Phase::None);
  CHECK(none >= 25);
  CHECK(none <= 27);
  const AxisPosterior posterior = posterior_about(path, seen.previous, seen.current, options);
  // Wherever it lies: the expected number of steps without a lens.
  double expected = 0.0;
  for (const float lens : posterior.lens) expected += 1.0 - static_cast<double>(lens);
  CHECK(expected >= 24.9);
  CHECK(expected <= 27.0);
}

TEST_CASE("clutter that stands still while the lens is elsewhere loses its say") {
  std::vector<AxisEvidence> current;
  for (int k = 0; k < 20; ++k) {
    AxisEvidence evidence = marks_at(100);
    evidence.log_ratio[52] = 5.0F;
    current.push_back(evidence);
  }
  std::vector<AxisEvidence> previous(current.size());
  const AxisPath path = most_probable_path(previous, current, {});
  REQUIRE(path.axis_deg[10] == 100);
  subtract_standing_clutter(path, previous, current);
  CHECK(current[10].log_ratio[52] <= 0.0F);
  CHECK(current[10].log_ratio[100] == 6.0F);
}

TEST_CASE("a lens that is turned unseen is still there") {
  std::vector<AxisEvidence> current;
  for (int k = 0; k < 50; ++k) current.push_back(marks_at(40));
  for (int k = 0; k < 25; ++k) current.push_back(nothing());
  for (int k = 0; k < 50; ++k) current.push_back(marks_at(100));
  const std::vector<AxisEvidence> previous(current.size());
  const AxisPath alone = most_probable_path(previous, current, {});
  const AxisPosterior posterior = posterior_about(alone, previous, current, {});
  CHECK(posterior.lens[62] > 0.95F);
  std::vector<char> sure;
  for (const float lens : posterior.lens) sure.push_back(lens > 0.95F ? 1 : 0);
  const AxisPath path = most_probable_path(previous, current, {}, sure);
  CHECK(path.phase[62] == Phase::New);
  CHECK(path.axis_deg[25] == 40);
  CHECK(path.axis_deg[100] == 100);
  CHECK(path.evidence[62] < 0.0F);
  // Its axis in between is anyone's guess, and the posterior says so.
  CHECK(posterior_about(path, previous, current, {}).near_path[62] < 0.5F);
}
