// When refined readings vouch for a path that its own posterior doubts.
#include "analyze/belief.h"

#include <catch2/catch.hpp>
#include <vector>

#include "angle/angle.h"

using namespace rhumb::analyze;
using rhumb::angle::rad_from_deg;

namespace {

// Half a second at 30 pictures a second, at 57 degrees, on a path that is hardly believed.
struct Doubted {
  FrameReading coarse;
  FineReading fine;
  std::vector<double> time_s;

  Doubted() {
    for (int k = 0; k < 15; ++k) {
      FineAxis axis;
      axis.phase = rhumb::timeline::Phase::New;
      axis.given = true;
      axis.seen_rad = rad_from_deg(57.0);
      axis.own = {true, rad_from_deg(57.2), rad_from_deg(0.1)};
      fine.frames.push_back(axis);
      coarse.posterior.near_path.push_back(0.01F);
      coarse.path.phase.push_back(axis.phase);
      coarse.path.evidence.push_back(3.0F);
      time_s.push_back(k / 30.0);
    }
  }
  double middle() const { return belief(coarse, fine, time_s, 7); }
};

}  // namespace

TEST_CASE("Readings that agree vouch for a doubted path") {
  const Doubted doubted;
  CHECK(doubted.middle() > 0.6);
  CHECK(doubted.middle() < 0.95);  // so that the interval stays as wide as the path's reach
}

TEST_CASE("A path keeps its own posterior without enough readings that agree") {
  Doubted few;
  for (const std::size_t k : {4U, 6U, 8U, 10U}) few.fine.frames[k].own.given = false;
  CHECK(few.middle() == Approx(0.01));

  Doubted scattered;
  for (std::size_t k = 0; k < scattered.fine.frames.size(); k += 2)
    scattered.fine.frames[k].own.value_rad = rad_from_deg(58.5);
  CHECK(scattered.middle() == Approx(0.01));

  Doubted turning;
  for (std::size_t k = 0; k < turning.fine.frames.size(); ++k) {
    turning.fine.frames[k].seen_rad = rad_from_deg(57.0 + 3.0 * static_cast<double>(k));
    turning.fine.frames[k].own.value_rad = turning.fine.frames[k].seen_rad;
  }
  CHECK(turning.middle() == Approx(0.01));

  Doubted other_lens;
  for (std::size_t k = 0; k < 7; ++k)
    other_lens.fine.frames[k].phase = rhumb::timeline::Phase::Previous;
  CHECK(other_lens.middle() == Approx(0.01));

  Doubted unread;
  unread.fine.frames[7].given = false;
  CHECK(unread.middle() == Approx(0.01));
}

TEST_CASE("A path that is believed is left alone") {
  Doubted sure;
  sure.coarse.posterior.near_path[7] = 0.97F;
  CHECK(sure.middle() == Approx(0.97));
}

TEST_CASE("A path that no frame speaks for is not sure, however steady its readings") {
  Doubted silent;
  for (auto& probability : silent.coarse.posterior.near_path) probability = 0.99F;
  CHECK(silent.middle() == Approx(0.99));
  for (auto& evidence : silent.coarse.path.evidence) evidence = 0.2F;
  CHECK(silent.middle() == Approx(0.9));  // the interval is as wide as the path's reach
  for (std::size_t k = 0; k < 6; ++k) silent.coarse.path.evidence[k] = 3.0F;
  CHECK(silent.middle() == Approx(0.99));  // a blink in which they don't is no silence
  for (auto& evidence : silent.coarse.path.evidence) evidence = 0.0F;
  silent.coarse.path.evidence[7] = 3.0F;  // the eye is seen in one picture only
  CHECK(silent.middle() == Approx(0.99));
}

TEST_CASE(
    "A path that the frames speak against holds no lens there, but for one that was followed") {
  Doubted gap;
  for (auto& probability : gap.coarse.posterior.near_path) probability = 0.99F;
  for (auto& evidence : gap.coarse.path.evidence) evidence = -2.5F;
  CHECK(gap.middle() == 0.0);
  gap.fine.frames[7].followed =
      true;  // the evidence is of the path's axis, not of the one followed
  CHECK(gap.middle() == Approx(0.9));
}
