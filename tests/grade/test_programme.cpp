// The invented cohort of fixtures/cohort from table to tables. Reference values were computed from
// the same files with SciPy 1.10.1 and NumPy 1.24 (stats.t.interval,
// binomtest(...).proportion_ci("exact"), the mean of doubled angles) and with R 4.2.2: lme4 1.1-31,
// lmer(sqrt(size) ~ small_pupil + (1 | operator)), and psych 2.2.9, ICC(x, lmer = FALSE).
#include <catch2/catch.hpp>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "files/user_error.h"
#include "grade/csv.h"
#include "grade/folder.h"
#include "grade/programme.h"
#include "grade/tables.h"
#include "grade/write.h"

using namespace rhumb;
using namespace rhumb::grade;
using Catch::Matchers::Contains;

namespace {

const std::filesystem::path fixture = std::filesystem::path(RHUMB_FIXTURES) / "cohort";

Programme graded(const Rubric& rubric = default_rubric(), unsigned threads = 0) {
  const Cohort cohort = read_cohort(fixture / "cohort.csv");
  const auto human = read_readings(fixture / "readings.csv");
  return grade_programme(cohort, read_outcomes(cohort, {}, threads), rubric, &human,
                         fixture / "readings.csv", fixture);
}

const OperatorSummary& of(const Programme& programme, const std::string& code) {
  for (const auto& s : programme.operators) {
    if (s.code == code) return s;
  }
  FAIL("no operator " << code);
  return programme.everyone;
}

void agrees(const std::optional<statistics::Estimate>& got, double value, double low, double high,
            double within = 1e-6) {
  REQUIRE(got);
  CHECK(got->value == Approx(value).margin(within));
  CHECK(got->low == Approx(low).margin(within));
  CHECK(got->high == Approx(high).margin(within));
}

}  // namespace

TEST_CASE("accuracy of each operator agrees with SciPy", "[grade]") {
  const Programme p = graded();
  REQUIRE(p.operators.size() == 4);
  const OperatorSummary& f01 = of(p, "f01");
  CHECK(f01.cases == 28);
  CHECK(f01.graded == 27);
  agrees(f01.absolute_interval, 3.891037037, 2.486653011, 5.295421063);
  CHECK(*f01.median_absolute_deg == Approx(2.957));
  CHECK(*f01.mean_signed_deg == Approx(0.11434847795));
  CHECK(*f01.signed_sd_deg == Approx(5.21461981825));
  CHECK(f01.shares[0].within == 20);
  agrees(f01.shares[0].share, 20.0 / 27.0, 0.5371512577, 0.8888554372);
  agrees(f01.shares[1].share, 24.0 / 27.0, 0.7084130757, 0.9764725456);
  CHECK(*f01.budget[static_cast<std::size_t>(BudgetPart::Alignment)].mean_absolute_deg ==
        Approx(2.9797037037));
  CHECK(f01.budget[static_cast<std::size_t>(BudgetPart::ReferenceMarking)].n == 0);
  const OperatorSummary& f03 = of(p, "f03");
  agrees(f03.shares[0].share, 1.0, 0.47817624989501856, 1.0);
  CHECK(*f03.mean_signed_deg == Approx(-2.696684266));
  CHECK(p.everyone.cases == 76);
  CHECK(p.everyone.graded == 68);
  agrees(p.everyone.absolute_interval, 3.6732647059, 2.5890338144, 4.7574955974);
}

TEST_CASE("a case that is not graded counts in no share, no mean and no chart", "[grade]") {
  const Programme p = graded();
  const OperatorSummary& f04 = of(p, "f04");
  CHECK(f04.cases == 19);
  CHECK(f04.graded == 15);
  CHECK(f04.shares[0].within == 15);
  CHECK(f04.learning.size() == 15);
  CHECK(f04.learning.back().case_number == 15);
}

TEST_CASE("progress: running mean, CUSUM and change", "[grade]") {
  const Programme p = graded();
  const OperatorSummary& f01 = of(p, "f01");
  REQUIRE(f01.learning.size() == 27);
  CHECK_FALSE(f01.learning[3].running_mean);
  REQUIRE(f01.learning[4].running_mean);
  double sum = 0.0;
  for (std::size_t i = 17; i < 27; ++i) sum += f01.learning[i].absolute_deg;
  CHECK(f01.learning[26].running_mean->value == Approx(sum / 10.0));
  // By hand: each point adds its probability of failure less 0.14524, never below 0.
  double chart = 0.0;
  for (const LearningPoint& point : f01.learning) {
    chart = std::max(0.0, chart + point.failure - p.limits.design.step);
    CHECK(point.chart == Approx(chart));
    if (point.signal) chart = 0.0;
  }
  CHECK(f01.change_per_10_cases_deg->value < 0.0);
}

TEST_CASE("comparison: few cases are not compared, codes in order, nobody ranked", "[grade]") {
  const Programme p = graded();
  const auto& operators = p.comparison.operators_compared;
  REQUIRE(operators.size() == 4);
  CHECK(p.comparison.between_sd == Approx(0.25939289).epsilon(1e-3));
  CHECK(p.comparison.within_sd == Approx(0.86517971).epsilon(1e-4));
  CHECK(operators[2].code == "f03");
  CHECK(operators[2].standing == Standing::NotCompared);
  CHECK_FALSE(operators[2].typical_deg);
  CHECK(operators[2].note == "5 of the 10 cases that a comparison needs");
  for (const std::size_t i : {0U, 1U, 3U}) {
    CHECK(operators[i].typical_deg);
    CHECK(operators[i].standing != Standing::NotCompared);
  }
}

TEST_CASE("comparison adjusted for a column of the table agrees with lme4", "[grade]") {
  Rubric rubric = default_rubric();
  rubric.comparison.adjust_for = {"pupil"};
  const Programme p = graded(rubric);
  CHECK(p.comparison.between_sd == Approx(0.20628351).epsilon(1e-3));
  CHECK(p.comparison.within_sd == Approx(0.86131782).epsilon(1e-4));
  REQUIRE(p.comparison.adjustments.size() == 1);
  CHECK(p.comparison.adjustments[0].name == "pupil = small");
  CHECK(p.comparison.adjustments[0].estimate.value == Approx(0.3486088679).epsilon(1e-4));
  rubric.comparison.adjust_for = {"pupils"};
  CHECK_THROWS_AS(graded(rubric), UserError);
}

TEST_CASE("two operators are not compared at all", "[grade]") {
  const Cohort whole = read_cohort(fixture / "cohort.csv");
  Cohort two = whole;
  two.rows.clear();
  for (const auto& row : whole.rows) {
    if (row.operator_code == "f01" || row.operator_code == "f02") two.rows.push_back(row);
  }
  const Programme p =
      grade_programme(two, read_outcomes(two, {}), default_rubric(), nullptr, "", fixture);
  CHECK_THAT(p.comparison.why_not, Contains("three operators"));
  for (const auto& one : p.comparison.operators_compared) CHECK_FALSE(one.typical_deg);
}

TEST_CASE("agreement with readers agrees with NumPy and R", "[grade]") {
  const Programme p = graded();
  REQUIRE(p.agreement);
  const auto& a = *p.agreement;
  REQUIRE(a.pairs.size() == 3);
  CHECK(a.pairs[0].second == "r1");
  agrees(a.pairs[0].limits->bias, -0.266, -0.5546949556, 0.0226949556);
  agrees(a.pairs[0].limits->lower_limit, -1.4750049104, -1.9768544408, -0.9731553800);
  agrees(a.pairs[1].limits->bias, 0.439, 0.0573354107, 0.8206645893);
  CHECK(a.pairs[2].limits->upper_limit.value == Approx(2.6174257032));
  REQUIRE(a.groups.size() == 2);
  CHECK(a.groups[0].readers == std::vector<std::string>{"r1", "r2"});
  agrees(a.groups[0].icc->icc_2_1, 0.9777559845, 0.9034338336, 0.9926745847, 1e-8);
  agrees(a.groups[1].icc->icc_2_1, 0.9857711194, 0.9642909216, 0.9943528142, 1e-8);
  agrees(a.groups[1].icc->icc_3_1, 0.9892693089, 0.9775772655, 0.9954006363, 1e-8);
  REQUIRE(a.repeatability[0].result);
  CHECK(a.repeatability[0].result->subjects == 20);
  CHECK(a.repeatability[0].result->within_sd.value == Approx(0.6196773353931875));
  CHECK_FALSE(a.repeatability[1].result);
}

TEST_CASE("differences of readings cross the wrap: 179 and 1 differ by 2", "[grade]") {
  Cohort cohort = read_cohort(fixture / "cohort.csv");
  cohort.rows.resize(3);
  auto outcomes = read_outcomes(cohort, {});
  std::vector<HumanReading> human;
  for (auto& r : outcomes) {
    r.axis = AngleDeg{1.0, 0.5, 1.5};
    human.push_back({2, r.case_id, "r1", 179.0});
    human.push_back({3, r.case_id, "r1", 1.0});
  }
  const Agreement a =
      *grade_programme(cohort, outcomes, default_rubric(), &human, "r.csv", fixture).agreement;
  CHECK(a.pairs[0].pairs[0].difference_deg == Approx(2.0));
  CHECK(a.pairs[0].pairs[0].mean_axis_deg == Approx(0.0).margin(1e-9));
  CHECK(a.repeatability[0].result->within_sd.value == Approx(std::sqrt(2.0)));
  human.push_back({4, "nobody's", "r1", 3.0});
  outcomes[1].case_id = outcomes[0].case_id;
  CHECK_THROWS_AS(grade_programme(cohort, outcomes, default_rubric(), &human, "r.csv", fixture),
                  UserError);
}

TEST_CASE("an operator's own page, tables and JSON hold nothing of the others", "[grade]") {
  const test::Folder folder;
  write_programme(for_operator(graded(), "f02"), folder.path());
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder.path())) {
    const std::string text = test::content_of(entry.path());
    INFO(entry.path());
    ++files;
    for (const char* other : {"f01", "f03", "f04", "s01", "exchange", "cut-off", "r1"}) {
      CHECK(text.find(other) == std::string::npos);
    }
  }
  CHECK(files == 7);
  CHECK_THAT(test::content_of(folder.path() / "cases.csv"), Contains("far-off"));
  CHECK_THROWS_AS(for_operator(graded(), "f09"), UserError);
  CHECK_THROWS_AS(for_operator(graded(), ""), UserError);
}

TEST_CASE("a small programme's typical deviation would tell of the others, so it stays out",
          "[grade]") {
  Programme p = graded();
  CHECK(for_operator(p, "f02").comparison.programme_deg);
  p.comparison.operators = 3;
  CHECK_FALSE(for_operator(p, "f02").comparison.programme_deg);
}

TEST_CASE("the same folder gives the same bytes, whatever the number of threads", "[grade]") {
  const test::Folder one, four;
  write_programme(graded(default_rubric(), 1), one.path());
  write_programme(graded(default_rubric(), 4), four.path());
  write_programme(graded(default_rubric(), 4), four.path());
  for (const auto& entry : std::filesystem::directory_iterator(one.path())) {
    const auto other = four.path() / entry.path().filename();
    INFO(entry.path());
    CHECK(test::content_of(entry.path()) == test::content_of(other));
  }
}

TEST_CASE("tables have a row a case and columns that are described", "[grade]") {
  const Programme p = graded();
  const auto cases = parse_csv(cases_csv(p), "cases.csv");
  CHECK(cases.rows.size() == 76);
  const auto described = parse_csv(columns_csv(p), "columns.csv");
  std::size_t of_cases = 0;
  for (const auto& row : described.rows) {
    CHECK_FALSE(row.fields[3].empty());
    if (row.fields[0] == "cases.csv") CHECK(row.fields[1] == cases.header.at(of_cases++));
  }
  CHECK(of_cases == cases.header.size());
  CHECK(parse_csv(operators_csv(p), "operators.csv").rows.size() == 5);
  CHECK(parse_csv(learning_csv(p), "learning.csv").rows.size() == 68);
  CHECK(parse_csv(agreement_csv(p), "agreement.csv").rows.size() == 9 + 12 + 2);
  const auto state = cases.column("state");
  const auto straddles = cases.column("straddles_deg");
  const auto name = cases.column("case");
  for (const auto& row : cases.rows) {
    if (row.fields[name] == "straddles-both") CHECK(row.fields[straddles] == "5 10");
    if (row.fields[name] == "too-wide") CHECK(row.fields[state] == "interval too wide");
  }
}
