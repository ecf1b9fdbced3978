// Reading tables and rubrics: RFC 4180, and refusals that name file, place and mend.
#include <catch2/catch.hpp>

#include "files/csv_field.h"
#include "files/user_error.h"
#include "grade/cohort.h"
#include "grade/csv.h"
#include "grade/folder.h"
#include "grade/readers.h"
#include "grade/rubric.h"

using namespace rhumb;
using namespace rhumb::grade;
using Catch::Matchers::Contains;

namespace {

std::string refusal_of_cohort(const std::string& text) {
  const test::Folder folder;
  try {
    read_cohort(folder.write("cohort.csv", text));
  } catch (const UserError& error) {
    CHECK_FALSE(error.mend().empty());
    CHECK_THAT(error.file(), Contains("cohort.csv"));
    return error.place() + ": " + error.problem();
  }
  return "";
}

std::string refusal_of_rubric(const std::string& text) {
  try {
    parse_rubric(text, "rubric.toml");
  } catch (const UserError& error) {
    CHECK_FALSE(error.mend().empty());
    return error.place() + ": " + error.problem();
  }
  return "";
}

const std::string two_levels =
    "[[level]]\nname = \"in\"\nat_most_deg = 5\n[[level]]\nname = \"out\"\n";

}  // namespace

TEST_CASE("fields as RFC 4180, section 2, has them", "[grade]") {
  // Rules 5 to 7: quoted fields may hold commas, line breaks and doubled quotes; CRLF ends rows.
  const auto table =
      parse_csv("a,b,c\r\n\"x,y\",\"two\r\nlines\",\"say \"\"hi\"\"\"\r\n1,,3", "t.csv");
  REQUIRE(table.rows.size() == 2);
  CHECK(table.rows[0].fields == std::vector<std::string>{"x,y", "two\r\nlines", "say \"hi\""});
  CHECK(table.rows[1].fields == std::vector<std::string>{"1", "", "3"});
  CHECK(table.rows[1].line == 4);
  CHECK(parse_csv("\xEF\xBB\xBF"
                  "a\n1\n\n2\n",
                  "t.csv")
            .header[0] == "a");
  CHECK(parse_csv("a\n1\n\n2\n", "t.csv").rows[1].line == 4);
}

TEST_CASE("what is written comes back", "[grade]") {
  for (const std::string text :
       {"plain", "a,b", "say \"hi\"", "two\nlines", "", "-3.5", "\xC3\xA4"}) {
    CHECK(
        parse_csv("h,k\n" + rhumb::files::csv_field(text) + ",0\n", "t.csv").rows.at(0).fields[0] ==
        text);
  }
}

TEST_CASE("a folder in a table's place is called one", "[grade]") {
  const test::Folder folder;
  try {
    read_csv(folder.path(), 1000);
    FAIL("a folder was read");
  } catch (const UserError& error) {
    CHECK(error.problem() == "is a folder");
    CHECK_THAT(error.mend(), Contains("table"));
  }
}

TEST_CASE("a doubtful table is refused with its place", "[grade]") {
  CHECK_THAT(refusal_of_cohort("outcome,operator\na,b,c\n"),
             Contains("line 2, column B: the row has 3"));
  CHECK_THAT(refusal_of_cohort("outcome,operator\na\n"),
             Contains("line 2, column A: the row has 1"));
  CHECK_THAT(refusal_of_cohort("outcome\n\"abc\n"),
             Contains("line 2, column A") && Contains("never closed"));
  CHECK_THAT(refusal_of_cohort("outcome,x\na,b\"c\n"), Contains("line 2, column B"));
  CHECK_THAT(refusal_of_cohort("outcome\n\"a\"b\n"), Contains("follows the closing quote"));
  CHECK_THAT(refusal_of_cohort("outcome\na\xFF\n"), Contains("line 2") && Contains("UTF-8"));
  CHECK_THAT(refusal_of_cohort("outcome\n\xED\xA0\x80\n"), Contains("UTF-8"));  // a lone surrogate
  CHECK_THAT(refusal_of_cohort("outcome\n\xC0\xAF\n"), Contains("UTF-8"));      // an overlong slash
  CHECK_THAT(refusal_of_cohort(std::string("outcome\na\0b\n", 12)), Contains("zero byte"));
  CHECK_THAT(refusal_of_cohort("outcome,x,x\na,b,c\n"),
             Contains("line 1, column C") && Contains("second"));
  CHECK_THAT(refusal_of_cohort("outcome,\na,b\n"),
             Contains("line 1, column B") && Contains("no name"));
  CHECK_THAT(refusal_of_cohort(""), Contains("empty"));
  CHECK_THAT(refusal_of_cohort("outcome\n"), Contains("no rows"));
  CHECK_THAT(refusal_of_cohort("folder\na\n"), Contains("no column named 'outcome'"));
}

TEST_CASE("cohort fields are checked", "[grade]") {
  CHECK_THAT(refusal_of_cohort("outcome,operator\na,Dr Who\n"),
             Contains("line 2, column B (operator)"));
  CHECK_THAT(refusal_of_cohort("outcome,date\na,2026-02-30\n"), Contains("is no date"));
  CHECK_THAT(refusal_of_cohort("outcome,date\na,14.5.2026\n"), Contains("is no date"));
  CHECK_THAT(refusal_of_cohort("outcome\na\n./a/\n"),
             Contains("line 3") && Contains("line 2 names the same"));
  CHECK_THAT(refusal_of_cohort("outcome,operator\n,f01\n"), Contains("no outcome"));
  const test::Folder folder;
  const auto cohort = read_cohort(
      folder.write("c.csv", "pupil,outcome,date\nsmall,a/case.toml,2024-02-29\n\"x,y\",b/,\n"));
  REQUIRE(cohort.rows.size() == 2);
  CHECK(cohort.covariates == std::vector<std::string>{"pupil"});
  CHECK(cohort.rows[0].is_case_file);
  CHECK(cohort.rows[1].outcome == folder.path() / "b");
  CHECK(cohort.rows[1].covariates[0] == "x,y");
  CHECK_THROWS_AS(read_cohort(folder.path() / "none.csv"), UserError);
  CHECK_THROWS_AS(read_cohort(folder.path()), UserError);
}

TEST_CASE("readings of people are checked", "[grade]") {
  const test::Folder folder;
  const auto refuses = [&](const std::string& text) {
    try {
      read_readings(folder.write("r.csv", text));
    } catch (const UserError& error) {
      return error.place() + ": " + error.problem();
    }
    return std::string();
  };
  CHECK_THAT(refuses("case,reader\na,r1\n"), Contains("axis_deg"));
  CHECK_THAT(refuses("case,reader,axis_deg\na,r1,181\n"), Contains("line 2, column C"));
  CHECK_THAT(refuses("case,reader,axis_deg\na,r1,\n"), Contains("line 2, column C"));
  CHECK_THAT(refuses("case,reader,axis_deg\na,r1,nan\n"), Contains("is no axis"));
  CHECK_THAT(refuses("case,reader,axis_deg\na,rhumb,10\n"), Contains("no reader's code"));
  CHECK(refuses("case,reader,axis_deg\na,r1,180\n").empty());
}

TEST_CASE("the shipped rubric reads, and its numbers are the defaults", "[grade]") {
  const Rubric shipped = default_rubric();
  const Rubric bare = parse_rubric(two_levels, "r.toml");
  CHECK(shipped.thresholds_deg() == std::vector<double>{5.0, 10.0});
  CHECK(shipped.widest_interval_deg == bare.widest_interval_deg);
  CHECK(shipped.cusum.failure_beyond_deg == bare.cusum.failure_beyond_deg);
  CHECK(shipped.cusum.acceptable_share == bare.cusum.acceptable_share);
  CHECK(shipped.cusum.unacceptable_share == bare.cusum.unacceptable_share);
  CHECK(shipped.cusum.false_alarm == bare.cusum.false_alarm);
  CHECK(shipped.cusum.missed == bare.cusum.missed);
  CHECK(shipped.learning.window_cases == bare.learning.window_cases);
  CHECK(shipped.learning.minimum_cases == bare.learning.minimum_cases);
  CHECK(shipped.comparison.minimum_cases == bare.comparison.minimum_cases);
  CHECK(shipped.comparison.scale == bare.comparison.scale);
  CHECK(shipped.outlier.beyond_deg == bare.outlier.beyond_deg);
  CHECK(shipped.outlier.robust_z == bare.outlier.robust_z);
  for (const Level& level : shipped.levels) CHECK_FALSE(level.source.empty());
}

TEST_CASE("every number of a rubric can be changed", "[grade]") {
  const Rubric r = parse_rubric(
      "[rubric]\nname = \"ours\"\nversion = \"3\"\n"
      "[[level]]\nname = \"a\"\nat_most_deg = 2.5\n[[level]]\nname = \"b\"\nat_most_deg = "
      "7\n[[level]]\nname = \"c\"\n"
      "[grading]\nwidest_interval_deg = 4\n"
      "[cusum]\nfailure_beyond_deg = 3\nacceptable_share = 0.2\nunacceptable_share = "
      "0.4\nfalse_alarm = 0.05\n"
      "missed = 0.2\n[learning]\nwindow_cases = 6\nminimum_cases = 3\n"
      "[comparison]\nminimum_cases = 4\nscale = \"degrees\"\nadjust_for = [\"pupil\"]\n"
      "[outlier]\nbeyond_deg = 20\nrobust_z = 5\n",
      "ours.toml");
  CHECK(r.name == "ours");
  CHECK(r.thresholds_deg() == std::vector<double>{2.5, 7.0});
  CHECK(r.widest_interval_deg == 4.0);
  CHECK(r.cusum.failure_beyond_deg == 3.0);
  CHECK(r.cusum.acceptable_share == 0.2);
  CHECK(r.cusum.unacceptable_share == 0.4);
  CHECK(r.cusum.false_alarm == 0.05);
  CHECK(r.cusum.missed == 0.2);
  CHECK(r.learning.window_cases == 6);
  CHECK(r.learning.minimum_cases == 3);
  CHECK(r.comparison.minimum_cases == 4);
  CHECK(r.comparison.scale == Scale::Degrees);
  CHECK(r.comparison.adjust_for == std::vector<std::string>{"pupil"});
  CHECK(r.outlier.beyond_deg == 20.0);
  CHECK(r.outlier.robust_z == 5.0);
}

TEST_CASE("a rubric that is none is refused with its place", "[grade]") {
  CHECK_THAT(refusal_of_rubric("[[level]]\nname = \"a\"\n"), Contains("fewer than two"));
  CHECK_THAT(refusal_of_rubric("x = \n"), Contains("line 1"));
  CHECK_THAT(refusal_of_rubric(
                 "[[level]]\nname=\"a\"\nat_most_deg=5\n[[level]]\nname=\"b\"\nat_most_deg=3\n"
                 "[[level]]\nname=\"c\"\n"),
             Contains("line 6, level 2.at_most_deg"));
  CHECK_THAT(refusal_of_rubric("[[level]]\nname=\"a\"\n[[level]]\nname=\"b\"\n"),
             Contains("only the last"));
  CHECK_THAT(refusal_of_rubric(
                 "[[level]]\nname=\"a\"\nat_most_deg=5\n[[level]]\nname=\"b\"\nat_most_deg=9\n"),
             Contains("takes what is left"));
  CHECK_THAT(
      refusal_of_rubric(two_levels + "[cusum]\nacceptable_share = 0.3\nunacceptable_share = 0.2\n"),
      Contains("line 8") && Contains("not above"));
  CHECK_THAT(refusal_of_rubric(two_levels + "[cusum]\nmised = 0.3\n"),
             Contains("mised") && Contains("not known"));
  CHECK_THAT(refusal_of_rubric(two_levels + "[grading]\nwidest_interval_deg = nan\n"),
             Contains("no number"));
  CHECK_THAT(refusal_of_rubric(two_levels + "[grading]\nwidest_interval_deg = \"5\"\n"),
             Contains("no number"));
  CHECK_THAT(refusal_of_rubric(two_levels + "[learning]\nwindow_cases = 4.5\n"), Contains("whole"));
  CHECK_THAT(refusal_of_rubric(two_levels + "[comparison]\nscale = \"log\"\n"), Contains("scale"));
  CHECK_THAT(refusal_of_rubric("cusum = 3\n" + two_levels), Contains("no section"));
}
