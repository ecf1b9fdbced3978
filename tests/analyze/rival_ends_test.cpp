// How many other meridians look like an end of the marks, on scores made here.
#include "analyze/rival_ends.h"

#include <catch2/catch.hpp>
#include <vector>

using namespace rhumb;
using namespace rhumb::analyze;
using timeline::AxisPath;
using timeline::Phase;

namespace {

void put(lens::AxisScores& scores, int meridian_deg, float score) {
  auto& end = meridian_deg < lens::axis_count ? scores.end_a : scores.end_b;
  end[static_cast<std::size_t>(meridian_deg % lens::axis_count)] = score;
}

// Windows of a new lens at 40 degrees, whose ends score 20 and 15, with spots at these meridians.
struct Made {
  std::vector<lens::AxisScores> scores;
  AxisPath path;

  void add(const std::vector<std::pair<int, float>>& spots, float weaker = 15.0F) {
    scores.emplace_back();
    put(scores.back(), 40, 20.0F);
    put(scores.back(), 220, weaker);
    for (const auto& [meridian, score] : spots) put(scores.back(), meridian, score);
    path.phase.push_back(Phase::New);
    path.axis_deg.push_back(40);
  }
  double rivals(Phase phase = Phase::New) const {
    std::vector<const lens::AxisScores*> all;
    for (const lens::AxisScores& one : scores) all.push_back(&one);
    return rival_ends(path, phase, all);
  }
};

}  // namespace

TEST_CASE("what looks like an end at another meridian is a rival", "[analyze]") {
  Made made;
  made.add({{100, 14.0F}, {179, 10.0F}, {300, 12.0F}});
  CHECK(made.rivals() == Approx(3.0));
  CHECK(made.rivals(Phase::Previous) == 0.0);
}

TEST_CASE("shoulders of a spot, faint ones and noise are no rivals", "[analyze]") {
  Made made;
  made.add({{48, 15.0F},
            {230, 15.0F},
            {100, 14.0F},
            {107, 13.0F},
            {150, 8.0F},
            {355, 14.0F},
            {2, 13.0F}});
  CHECK(made.rivals() == Approx(2.0));
  Made faint;
  faint.add({{100, 3.9F}}, 3.0F);
  CHECK(faint.rivals() == 0.0);
}

TEST_CASE("windows in which an end is hidden say nothing of rivals", "[analyze]") {
  Made made;
  for (int k = 0; k < 3; ++k) made.add({});
  for (int k = 0; k < 3; ++k) made.add({{100, 14.0F}, {130, 12.0F}, {300, 8.0F}}, 1.0F);
  CHECK(made.rivals() == 0.0);
}
