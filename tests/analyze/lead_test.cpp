// How far an axis is ahead of its rivals, on evidence made here.
#include "analyze/lead.h"

#include <catch2/catch.hpp>

using namespace rhumb;
using namespace rhumb::analyze;
using timeline::AxisEvidence;
using timeline::AxisPath;
using timeline::Phase;

namespace {

// `steps` steps of a new lens at 40 degrees with evidence 8 there, 7.5 on its shoulder and 5 at a
// rival's 60; then one step without a lens.
struct Made {
  AxisPath path;
  std::vector<AxisEvidence> previous, current;

  explicit Made(int steps) {
    for (int k = 0; k <= steps; ++k) {
      path.phase.push_back(k < steps ? Phase::New : Phase::None);
      path.axis_deg.push_back(k < steps ? 40 : -1);
      previous.emplace_back();
      AxisEvidence one;
      one.log_ratio.fill(-3.0F);
      one.log_ratio[40] = 8.0F;
      one.log_ratio[43] = 7.5F;
      one.log_ratio[60] = 5.0F;
      current.push_back(one);
    }
  }
  std::vector<float> lead() const { return leads(path, previous, current); }
};

}  // namespace

TEST_CASE("the lead is over another axis, not over the shoulder of its own, at any length") {
  for (const int steps : {1, 4, 50}) {
    const Made made(steps);
    const auto lead = made.lead();
    REQUIRE(lead.size() == static_cast<std::size_t>(steps) + 1);
    CHECK(lead.front() == Approx(3.0F));
    CHECK(lead[static_cast<std::size_t>(steps) - 1] == Approx(3.0F));
    CHECK(lead.back() == 0.0F);
  }
}

TEST_CASE("each stretch has its own lead; 179 and 1 degree are the same axis") {
  Made made(4);
  made.path.axis_deg = {179, 1, 100, 100, -1};
  for (AxisEvidence& one : made.current) {
    one.log_ratio.fill(0.0F);
    one.log_ratio[179] = 6.0F;
    one.log_ratio[100] = 2.0F;
  }
  const auto lead = made.lead();
  CHECK(lead[0] == Approx(4.0F));
  CHECK(lead[1] == Approx(4.0F));
  CHECK(lead[2] == Approx(-4.0F));
  CHECK(lead[3] == Approx(-4.0F));
}

TEST_CASE("the same mark seen from another centre is no rival where one end alone is clear") {
  Made made(4);
  for (AxisEvidence& one : made.current) one.log_ratio[48] = 7.8F;  // eight degrees beside
  CHECK(made.lead().front() == Approx(0.2F));
  CHECK(leads(made.path, made.previous, made.current, another_mark_deg).front() == Approx(3.0F));
}

namespace {

// Twelve half seconds of a new lens whose axis follows `axis_deg` (-1: none); `evidence` says what
// speaks for 40 degrees in each, besides 9 for the lens's own axis where it lies.
struct History {
  AxisPath path;
  std::vector<AxisEvidence> evidence;
  std::vector<lens::AxisScores> scores;
  std::vector<char> looked_at = std::vector<char>(12, 1);

  explicit History(const std::vector<int>& axis_deg, float at_40 = 0.0F) {
    for (const int axis : axis_deg) {
      AxisEvidence one;
      one.log_ratio[40] = at_40;
      lens::AxisScores ends;
      if (axis >= 0) {
        ends.end_a[static_cast<std::size_t>(axis)] = 12.0F;
        ends.end_b[static_cast<std::size_t>(axis)] = 10.0F;
      }
      scores.push_back(ends);
      if (axis >= 0) one.log_ratio[static_cast<std::size_t>(axis)] = 9.0F;
      path.phase.push_back(axis >= 0 ? Phase::New : Phase::None);
      path.axis_deg.push_back(axis);
      path.evidence.push_back(axis >= 0 ? 9.0F : 0.0F);
      evidence.push_back(one);
    }
  }
  bool changes(const ChangeRule& rule = {}) const {
    const std::vector<AxisEvidence> none(evidence.size());
    std::vector<const lens::AxisScores*> seen;
    for (std::size_t k = 0; k < scores.size(); ++k)
      seen.push_back(looked_at[k] != 0 ? &scores[k] : nullptr);
    return is_seen_to_change(path, Phase::New, leads(path, none, evidence), evidence, seen, rule);
  }
};

}  // namespace

TEST_CASE("a lens is told from what is fixed to the eye by coming, turning or going") {
  const int no = -1;
  CHECK_FALSE(History({40, 40, 40, 40, 40, 40, 40, 40, 41, 42, 42, 42}).changes());
  CHECK(History({40, 40, 40, 40, 40, 40, 44, 44, 44, 44, 44, 44}).changes());
  CHECK(History({no, no, no, 40, 40, 40, 40, 40, 40, 40, 40, 40}).changes());
  CHECK(History({40, 40, 40, 40, 40, 40, 40, 40, 40, no, no, no}).changes());
  // One step without it may be a hand before the eye.
  CHECK_FALSE(History({no, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40}).changes());
}

TEST_CASE("what is there before the lens is said to come does not come") {
  const int no = -1;
  const std::vector<int> axes = {no, no, no, 40, 40, 40, 40, 40, 40, 40, 40, 40};
  CHECK(History(axes, 2.0F).changes());
  CHECK_FALSE(History(axes, 4.0F).changes());
  History unseen(axes);
  unseen.looked_at[0] = unseen.looked_at[1] = 0;
  CHECK_FALSE(unseen.changes());
}

TEST_CASE("an end that shows before the lens comes is not the lens's") {
  const int no = -1;
  for (const int axis : {40, 0, 179}) {
    History bubble({no, no, no, axis, axis, axis, axis, axis, axis, axis, axis, axis});
    CHECK(bubble.changes());
    for (std::size_t k = 0; k < 3; ++k)
      bubble.scores[k].end_b[static_cast<std::size_t>(axis)] = 8.0F;
    CHECK_FALSE(bubble.changes());
  }
  // Next to 179 degrees the other way round lies 0: there end A is what was end B.
  History across({no, no, no, 179, 179, 179, 179, 179, 179, 179, 179, 179});
  for (std::size_t k = 0; k < 3; ++k) across.scores[k].end_a[0] = 8.0F;
  CHECK_FALSE(across.changes());
}

TEST_CASE("an axis that hardly anything speaks for is no turn") {
  History flicker({40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 40, 60});
  flicker.path.evidence.back() = 3.0F;
  CHECK_FALSE(flicker.changes());
}

TEST_CASE("by its clear end a lens comes though the other never shows, but that end must come") {
  const int no = -1;
  const std::vector<int> axes = {no, no, no, 40, 40, 40, 40, 40, 40, 40, 40, 40};
  const ChangeRule by_clear_end{another_mark_deg, false};
  History half(axes);
  for (auto& ends : half.scores) ends.end_b[40] = 2.0F;  // what chance makes, before and after
  CHECK_FALSE(half.changes());
  CHECK(half.changes(by_clear_end));
  for (std::size_t k = 0; k < 3; ++k) half.scores[k].end_a[40] = 12.0F;
  CHECK_FALSE(half.changes(by_clear_end));
  // A turn that another centre explains is none.
  const std::vector<int> eight = {40, 40, 40, 40, 40, 40, 48, 48, 48, 48, 48, 48};
  CHECK(History(eight).changes());
  CHECK_FALSE(History(eight).changes(by_clear_end));
}
