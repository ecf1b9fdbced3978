// What marks are believed, on evidence made up here.
#include "analyze/believed_marks.h"

#include <algorithm>
#include <catch2/catch.hpp>

using namespace rhumb;
using namespace rhumb::analyze;
using timeline::Phase;

namespace {

struct Marks {
  double mean_log_ratio = 4.0;  // of a frame
  float lead = 8.0F;
  double common_marks = 0.9;
  double steady_share = 0.9;
  double likeness = 0.9;
  bool changes = true;
  float lead_over_other_marks = 0.0F;  // if more than the lead
  bool clear_end_changes = false;
  bool throughout = false;     // there from the first window to the last
  double turn_rad = 0.0;       // of both ends, half way
  bool one_end_stays = false;  // while the other turns
  double rival_ends = 0.0;
};

bool are_believed(const Marks& marks) {
  constexpr std::size_t windows = 10, frames = 100;
  WindowReading coarse_windows;
  coarse_windows.path.phase.assign(windows, Phase::New);
  if (!marks.throughout) std::fill_n(coarse_windows.path.phase.begin(), 3, Phase::None);
  coarse_windows.windows.resize(windows);
  for (Window& window : coarse_windows.windows) window.searched = true;
  coarse_windows.path.evidence.assign(windows, 6.0F);
  coarse_windows.lead.assign(windows, marks.lead);
  coarse_windows.lead_over_other_marks.assign(windows,
                                              std::max(marks.lead, marks.lead_over_other_marks));
  coarse_windows.clear_end_changes = {false, marks.clear_end_changes};
  coarse_windows.log_ratio = 60.0;
  coarse_windows.changes = {false, marks.changes};
  coarse_windows.rival_ends = {0.0, marks.rival_ends};
  MarkSignature signature;
  signature.windows = 8;
  signature.likeness = marks.likeness;
  coarse_windows.current = signature;
  FrameReading coarse;
  coarse.path.phase.assign(frames, Phase::New);
  coarse.path.moving.assign(frames, false);
  coarse.path.evidence.assign(frames, static_cast<float>(marks.mean_log_ratio));
  coarse.path.log_ratio = 100.0;
  FineReading fine;
  fine.frames.resize(frames);
  for (std::size_t k = 0; k < frames; ++k) {
    FineAxis& frame = fine.frames[k];
    frame.phase = Phase::New;
    frame.seen_rad = k < frames / 2 ? 0.0 : marks.turn_rad;
    frame.own = {true, frame.seen_rad, 1e-3};
    frame.end_a = frame.end_b = true;
    const double turned = k < frames / 2 ? 0.0 : marks.turn_rad;
    frame.ends[0] = {true, turned, 1e-3, 1.0 / 0.45};
    frame.ends[1] = {true, marks.one_end_stays ? 0.0 : turned, 1e-3, -1.0 / 0.45};
  }
  fine.current.both_ends = true;
  fine.current.common_marks = marks.common_marks;
  fine.current.steady_share = marks.steady_share;
  return belief_in(coarse_windows, coarse, fine).current;
}

}  // namespace

TEST_CASE("faint marks are believed where their refined ends are alike and steady", "[analyze]") {
  CHECK(are_believed({}));
  const Marks faint{1.9, 3.0F, 0.9, 0.9};
  CHECK(are_believed(faint));
  Marks unsteady = faint;  // clutter's ends may be alike, but are found now here, now there
  unsteady.steady_share = 0.4;
  CHECK_FALSE(are_believed(unsteady));
  Marks unlike = faint;
  unlike.common_marks = 0.5;
  CHECK_FALSE(are_believed(unlike));
  Marks fainter = faint;  // no witness makes up for marks that single frames don't show
  fainter.mean_log_ratio = 1.5;
  CHECK_FALSE(are_believed(fainter));
}

TEST_CASE("marks fainter still are believed where nothing comes near their axis", "[analyze]") {
  const Marks ahead{1.8, 8.5F, 0.55, 0.75};
  CHECK(are_believed(ahead));
  Marks near = ahead;
  near.lead = 7.5F;
  CHECK_FALSE(are_believed(near));
  Marks fainter = ahead;
  fainter.mean_log_ratio = 1.5;
  CHECK_FALSE(are_believed(fainter));
  Marks unlike = ahead;  // then one end alone is read
  unlike.common_marks = 0.4;
  CHECK_FALSE(are_believed(unlike));
}

TEST_CASE("clear marks need no witness: one end may be hidden throughout", "[analyze]") {
  Marks one_end;
  one_end.common_marks = 0.2;
  CHECK(are_believed(one_end));
  one_end.mean_log_ratio = 1.9;
  CHECK_FALSE(are_believed(one_end));
}

TEST_CASE("what never moves must be clear, whatever its ends look like", "[analyze]") {
  Marks still{2.5, 5.0F, 0.9, 0.9, 0.9, false};
  CHECK_FALSE(are_believed(still));
  still.lead = 10.0F;
  CHECK(are_believed(still));
  // Two bubbles of a ring may be as clear as a lens that lies there all the time.
  still.throughout = true;
  CHECK_FALSE(are_believed(still));
  still.lead = 14.0F;
  CHECK(are_believed(still));
}

TEST_CASE("what both ends show to turn is not fixed to the eye", "[analyze]") {
  Marks turned{2.5, 5.0F, 0.9, 0.9, 0.9, false};
  turned.throughout = true;
  turned.turn_rad = 0.09;
  CHECK(are_believed(turned));
  turned.turn_rad = 0.04;
  CHECK_FALSE(are_believed(turned));
}

TEST_CASE("a lens with one end half under the pupil's edge counts by its clear end", "[analyze]") {
  Marks half{2.4, 0.7F, 0.55, 0.75, 0.8, false, 6.0F, true};
  CHECK(are_believed(half));
  Marks unlike = half;  // two bubbles' likeness
  unlike.common_marks = 0.3;
  CHECK_FALSE(are_believed(unlike));
  Marks still = half;
  still.clear_end_changes = false;
  CHECK_FALSE(are_believed(still));
}

TEST_CASE("marks of which one end stays while the other turns are not believed", "[analyze]") {
  Marks turns;
  turns.turn_rad = 0.3;
  CHECK(are_believed(turns));
  turns.one_end_stays = true;
  CHECK_FALSE(are_believed(turns));
}

TEST_CASE("two of many spots are believed only where they are alike and turn or come",
          "[analyze]") {
  Marks among;
  among.rival_ends = 4.0;
  CHECK(are_believed(among));  // a lens that turns among bubbles
  among.common_marks = 0.65;   // and one in a narrow pupil, beside crypts
  CHECK(are_believed(among));
  Marks bubbles = among;  // two that drift
  bubbles.common_marks = 0.5;
  CHECK_FALSE(are_believed(bubbles));
  bubbles.rival_ends = 1.0;
  CHECK(are_believed(bubbles));
  Marks ring = among;  // that lies still: clearer than one alone could be
  ring.changes = false;
  ring.lead = 14.0F;
  CHECK_FALSE(are_believed(ring));
  ring.rival_ends = 1.0;
  CHECK(are_believed(ring));
}
