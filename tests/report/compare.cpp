// Outcomes of one case side by side.
#include "report/compare.h"

#include <catch2/catch.hpp>
#include <fstream>

#include "angle/angle.h"
#include "files/user_error.h"
#include "report/invented.h"
#include "report/result_json.h"
#include "report/timeline_csv.h"

using namespace rhumb;
using namespace rhumb::report;
using namespace rhumb::report_test;

namespace {

ComparedOutcome compared(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder) {
  std::filesystem::create_directories(folder);
  write_timeline_csv(outcome, folder / "timeline.csv");
  write_result_json(outcome, folder / "result.json");
  return read_compared(folder);
}

}  // namespace

TEST_CASE("Two outcomes are compared frame by frame and at their end", "[report]") {
  const Scratch scratch;
  outcome::CaseOutcome outcome = invented_outcome();
  const ComparedOutcome first = compared(outcome, scratch.path() / "1");
  CHECK(first.frame_count == 300);
  CHECK(first.frames.size() == 250);
  CHECK(first.final->axis_deg == 114.1);

  const OutcomeChange none = change_between(first, first);
  CHECK(*none.final_deg == 0.0);
  CHECK(none.within_first);
  CHECK(none.read_in_both == 250);
  CHECK(none.largest_deg == 0.0);
  CHECK(none.intervals_apart == 0);

  // An end at 181 degrees is written as 1; it is still 66.9 degrees from 114.1.
  outcome.final->axis = {angle::rad_from_deg(181.0), angle::rad_from_deg(180.0),
                         angle::rad_from_deg(182.0)};
  outcome.rows[0].axis.reset();
  outcome.rows[110].axis = outcome.final->axis;
  outcome.rows[1].axis = outcome::Interval{angle::rad_from_deg(65.0), angle::rad_from_deg(64.0),
                                           angle::rad_from_deg(66.0)};
  const ComparedOutcome second = compared(outcome, scratch.path() / "2");
  const OutcomeChange change = change_between(first, second);
  CHECK(*change.final_deg == Approx(66.9));
  CHECK_FALSE(change.within_first);
  CHECK(change.no_longer_read == 1);
  CHECK(change.newly_read == 1);
  CHECK(change.read_in_both == 249);
  CHECK(change.median_deg == 0.0);
  CHECK(change.largest_deg == Approx(5.0));
  CHECK(change.intervals_apart == 1);
}

TEST_CASE("What is no frame number is refused, however large", "[report]") {
  const Scratch scratch;
  compared(invented_outcome(), scratch.path());
  for (const std::string number : {"5e105", "-1", "1.5", "nan", ""}) {
    std::ofstream(scratch.path() / "timeline.csv")
        << "frame,axis_deg,axis_low_deg,axis_high_deg\n0,1,0,2\n"
        << number << ",1,0,2\n";
    CHECK_THROWS_WITH(read_compared(scratch.path()),
                      Catch::Contains("line 3") && Catch::Contains("frame number"));
  }
}

TEST_CASE("A folder that holds no outcome is named", "[report]") {
  const Scratch scratch;
  CHECK_THROWS_WITH(read_compared(scratch.path()), Catch::Contains("result.json"));
  compared(invented_outcome(), scratch.path());
  std::ofstream(scratch.path() / "result.json") << "{\"case\": 3}";
  CHECK_THROWS_AS(read_compared(scratch.path()), UserError);
  compared(invented_outcome(), scratch.path());
  std::ofstream(scratch.path() / "timeline.csv") << "frame,time_s\r\n0,0\r\n";
  CHECK_THROWS_WITH(read_compared(scratch.path()), Catch::Contains("axis_deg"));
}
