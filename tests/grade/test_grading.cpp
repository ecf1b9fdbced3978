// Grades and their doubt. Probabilities against scipy.stats.norm (SciPy 1.10.1).
#include <catch2/catch.hpp>

#include "grade/grading.h"

using namespace rhumb::grade;

namespace {

CaseReading read(double value, double low, double high) {
  CaseReading r;
  r.planned_deg = 90.0;
  r.axis = AngleDeg{90.0, 89.0, 91.0};
  r.deviation = AngleDeg{value, low, high};
  return r;
}

GradedCase graded(double value, double low, double high) {
  return grade_case({}, read(value, low, high), default_rubric());
}

}  // namespace

TEST_CASE("probability of lying within a bound", "[grade]") {
  // norm.cdf((5 - 4.6) / (1 / 1.959964)) - norm.cdf((-5 - 4.6) / ...) = 0.7834727
  CHECK(probability_within({4.6, 3.6, 5.6}, 5.0) == Approx(0.78347).margin(5e-5));
  // An end of a 95 % interval at the bound leaves 2.5 % beyond it.
  CHECK(probability_within({4.0, 2.0, 5.0}, 5.0) == Approx(0.975).margin(1e-6));
  CHECK(probability_within({-4.0, -5.0, 0.0}, 5.0) == Approx(0.975).margin(1e-3));
  // Uneven: the side towards the bound counts. norm.cdf(1 / (3 / 1.959964)) = 0.7432
  CHECK(probability_within({4.0, 3.9, 7.0}, 5.0) == Approx(0.74323).margin(5e-5));
  CHECK(probability_within({3.0, 3.0, 3.0}, 5.0) == 1.0);
  CHECK(probability_within({5.0, 5.0, 5.0}, 5.0) == 1.0);
  CHECK(probability_within({5.1, 5.1, 5.1}, 5.0) == 0.0);
  CHECK(probability_within({89.0, 80.0, 98.0}, 90.0) == 1.0);
}

TEST_CASE("axes repeat: a reading near 90 may lie on the other side", "[grade]") {
  // 89 +/- 2 spills beyond 90, where it is a deviation of -89: still beyond 85 on both sides.
  CHECK(probability_within({89.0, 87.0, 91.0}, 85.0) == Approx(0.0).margin(1e-4));
  // The mass above 95 degrees comes back as -85 and less: norm.sf(6 / (6 / 1.959964)) = 0.025.
  CHECK(probability_within({89.0, 89.0, 95.0}, 85.0) == Approx(0.025).margin(1e-6));
}

TEST_CASE("levels, straddling and probabilities", "[grade]") {
  const GradedCase clear = graded(2.0, 1.0, 3.0);
  CHECK(clear.level == 0);
  CHECK(clear.straddles_deg.empty());
  const GradedCase doubtful = graded(4.6, 3.6, 5.6);
  CHECK(doubtful.level == 0);
  CHECK(doubtful.straddles_deg == std::vector<double>{5.0});
  const GradedCase negative = graded(-5.4, -6.0, -4.8);
  CHECK(negative.level == 1);
  CHECK(negative.straddles_deg == std::vector<double>{5.0});
  const GradedCase both = graded(7.4, 2.8, 12.0);
  CHECK(both.straddles_deg == std::vector<double>{5.0, 10.0});
  CHECK(both.level_probability.size() == 3);
  CHECK(both.level_probability[0] + both.level_probability[1] + both.level_probability[2] ==
        Approx(1.0));
  CHECK(graded(5.0, 4.99, 5.0).level == 0);  // 'at most' takes its own bound
  CHECK(graded(10.01, 9.0, 11.0).level == 2);
  CHECK(graded(-31.0, -32.5, -29.5).level == 2);
}

TEST_CASE("an interval wider than the rubric allows is not graded", "[grade]") {
  const GradedCase wide = graded(3.0, -6.0, 12.0);
  CHECK_FALSE(wide.graded());
  CHECK(wide.reading.not_graded == NotGraded::IntervalTooWide);
  CHECK(wide.reading.reason == "the 95 % interval is 18.0 degrees wide, the rubric allows 10");
  CHECK(wide.level_probability.empty());
}

TEST_CASE("the table overrules the outcome about who and when", "[grade]") {
  CaseReading reading = read(1.0, 0.5, 1.5);
  reading.operator_code = "from-outcome";
  reading.date = "2026-01-01";
  CohortRow row;
  CHECK(grade_case(row, reading, default_rubric()).reading.operator_code == "from-outcome");
  row.operator_code = "from-table";
  row.date = "2026-02-02";
  const GradedCase graded = grade_case(row, reading, default_rubric());
  CHECK(graded.reading.operator_code == "from-table");
  CHECK(graded.reading.date == "2026-02-02");
}

TEST_CASE("cases are numbered by operator and date, also those without a grade", "[grade]") {
  std::vector<GradedCase> cases(5);
  const char* dates[] = {"2026-03-01", "2026-01-01", "", "2026-02-01", "2026-01-01"};
  const char* codes[] = {"a", "a", "a", "a", "b"};
  for (std::size_t i = 0; i < 5; ++i) {
    cases[i].reading.date = dates[i];
    cases[i].reading.operator_code = codes[i];
  }
  number_cases(cases);
  CHECK(cases[0].case_number == 3);
  CHECK(cases[1].case_number == 1);
  CHECK(cases[2].case_number == 4);
  CHECK(cases[3].case_number == 2);
  CHECK(cases[4].case_number == 1);
}

TEST_CASE("outliers by size and by modified z score", "[grade]") {
  // Median 1, MAD 0.5: 0.6745 * 5 / 0.5 = 6.7 for the reading of 6.
  std::vector<GradedCase> cases;
  for (const double d : {0.5, 1.0, 1.0, 1.5, 2.0, 0.0, 1.5, 6.0, -12.0}) {
    cases.push_back(graded(d, d - 0.5, d + 0.5));
  }
  mark_outliers(cases, default_rubric());
  CHECK(cases[0].look_at.empty());
  CHECK(cases[7].look_at == "unlike the rest of the cohort (modified z score 6.7)");
  CHECK(cases[8].look_at == "beyond 10 degrees");
}
