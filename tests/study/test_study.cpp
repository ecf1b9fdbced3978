// Sums over many eyes, against NumPy, SciPy and the data of Bland and Altman 1986.
#include <catch2/catch.hpp>
#include <cmath>

#include "study/study.h"

using namespace rhumb;
using statistics::Estimate;

namespace {

study::VisitResult visit(const std::string& label, const std::string& date, double drift,
                         double step, double half = 0.1) {
  study::VisitResult v;
  v.label = label;
  v.date = date;
  v.axis = Estimate{40 + drift, 40 + drift - half, 40 + drift + half};
  v.drift = Estimate{drift, drift - half, drift + half};
  v.step = Estimate{step, step - half, step + half};
  return v;
}

// An eye at surgery, 3 and 5 months with these rotations since surgery.
study::EyeResult eye(double at_3_months, double at_5_months) {
  study::EyeResult e;
  e.id = "E";
  e.eye = "left";
  e.visits = {visit("surgery", "2026-01-01", 0, 0),
              visit("3 months", "2026-04-01", at_3_months, at_3_months),
              visit("5 months", "2026-06-01", at_5_months, at_5_months - at_3_months)};
  return e;
}

study::Table table_of(std::size_t eyes) {
  study::Table table;
  table.eyes.resize(eyes);
  for (auto& e : table.eyes) e.surgery_date = "2026-01-01";
  return table;
}

}  // namespace

TEST_CASE("sizes, shares and direction of one interval") {
  // Twelve rotations; figures by NumPy 1.24 (std with ddof=1).
  const std::vector<double> x = {0.4, -1.2, 2.1, -3.3, 5.0, 10.0, -0.6, 1.1, 2.6, -4.4, 18.0, -2.5};
  std::vector<study::EyeResult> eyes;
  for (const double r : x) eyes.push_back(eye(r, r));
  eyes.push_back(eye(0, 0));
  eyes.back().visits[1].drift.reset();  // an eye without a number is counted, not dropped
  eyes.back().visits[2].drift.reset();
  const auto all = study::intervals_of(eyes);
  REQUIRE(all.size() == 4);
  const study::Interval& i = all[0];
  CHECK((i.from == "surgery" && i.to == "3 months" && i.since_first));
  CHECK(i.eyes == 13);
  CHECK(i.rotations_deg.size() == 12);
  CHECK(*i.median_days == 90);
  CHECK(i.mean_absolute_deg == Approx(4.2666667).epsilon(1e-6));
  CHECK(i.sd_absolute_deg == Approx(5.0577274).epsilon(1e-6));
  CHECK(i.median_absolute_deg == Approx(2.55));
  CHECK(i.max_absolute_deg == 18.0);
  CHECK(i.mean_signed->value == Approx(2.2666667).epsilon(1e-6));
  CHECK(i.sd_signed_deg == Approx(6.3115094).epsilon(1e-6));
  // A rotation of the bound itself is within it.
  CHECK(i.within[0].eyes == 10);
  CHECK(i.within[1].eyes == 11);
  CHECK(i.within[2].eyes == 12);
  CHECK(i.within[3].eyes == 12);
  // scipy 1.10: beta.ppf(0.025, 10, 3), beta.ppf(0.975, 11, 2); 12 of 12: 0.025^(1/12).
  CHECK(i.within[0].share->low == Approx(0.5158623).epsilon(1e-5));
  CHECK(i.within[0].share->high == Approx(0.9791375).epsilon(1e-5));
  CHECK(i.within[2].share->low == Approx(std::pow(0.025, 1.0 / 12)).epsilon(1e-9));
  CHECK(i.within[2].share->high == 1.0);
  CHECK(i.counter_clockwise == 7);
  CHECK(i.clockwise == 5);
  CHECK(i.undecided == 0);
  eyes[0].visits[1].drift = Estimate{0.4, -0.1, 0.9};
  CHECK(study::intervals_of(eyes)[0].undecided == 1);
}

TEST_CASE("criteria count eyes as their words say") {
  std::vector<study::EyeResult> eyes;
  for (int i = 0; i < 17; ++i) eyes.push_back(eye(1.0, 2.0));
  eyes.push_back(eye(5.0, 9.99));
  eyes.push_back(eye(5.01, 10.0));  // 10 is not less than 10; 5.01 is more than 5
  eyes.push_back(eye(-4.0, -20.0));
  auto criteria = study::criteria_of(table_of(20), eyes);
  REQUIRE(criteria.size() == 2);
  CHECK(criteria[0].demands[0].passing == 18);
  CHECK(criteria[0].demands[1].passing == 19);
  CHECK(criteria[0].demands[0].eyes == 20);
  CHECK_THAT(criteria[0].verdict, Catch::StartsWith("Met in these eyes"));
  // Pairs 60 to 120 days apart: both steps of each eye; the larger counts: 16 in the last eye.
  CHECK(criteria[1].demands[0].passing == 18);
  CHECK_THAT(criteria[1].verdict, Catch::Contains("18 of 20"));
  for (int i = 0; i < 3; ++i) eyes.push_back(eye(30, 30));
  criteria = study::criteria_of(table_of(23), eyes);
  CHECK_THAT(criteria[0].verdict, Catch::StartsWith("Not met"));
  // Without the day of surgery the first criterion can't be checked, and says so.
  study::Table undated = table_of(23);
  for (auto& e : undated.eyes) e.surgery_date.clear();
  const auto unknown = study::criteria_of(undated, eyes);
  CHECK_THAT(unknown[0].verdict, Catch::StartsWith("Cannot be checked"));
  CHECK(unknown[0].without == 23);
}

namespace {

// Peak expiratory flow of Bland and Altman, Lancet 1986;i:307-310 (17 subjects, two meters, twice),
// a quarter of each value, so that they stay within the range of angles.
const std::vector<double> large1 = {494, 395, 516, 434, 476, 557, 413, 442, 650,
                                    433, 417, 656, 267, 478, 178, 423, 427};
const std::vector<double> large2 = {490, 397, 512, 401, 470, 611, 415, 431, 638,
                                    429, 420, 633, 275, 492, 165, 372, 421};
const std::vector<double> small1 = {512, 430, 520, 428, 500, 600, 364, 380, 658,
                                    445, 432, 626, 260, 477, 259, 350, 451};

}  // namespace

TEST_CASE("agreement with a reader gives the limits of the paper's data") {
  study::Table table = table_of(17);
  table.readers = {{"b_drift_deg", "b", true}};
  std::vector<study::EyeResult> eyes;
  for (std::size_t k = 0; k < 17; ++k) {
    eyes.push_back(eye(large1[k] / 4, 0));
    table.eyes[k].remarks = {{"3 months", {small1[k] / 4}, {}}, {"surgery", {0.0}, {}}};
  }
  const auto all = study::agreement_of(table, eyes);
  REQUIRE(all.size() == 1);  // the first visit's zero is no reading
  REQUIRE(all[0].limits);
  CHECK(all[0].limits->n == 17);
  CHECK(all[0].limits->bias.value == Approx(-2.1176 / 4).epsilon(1e-4));
  CHECK(all[0].limits->sd == Approx(38.7651 / 4).epsilon(1e-5));
  CHECK(all[0].limits->lower_limit.value == Approx(-78.097 / 4).epsilon(1e-4));
  CHECK(all[0].limits->upper_limit.value == Approx(73.862 / 4).epsilon(1e-4));
}

TEST_CASE(
    "repeatability of photographs of one visit gives the within-subject SD of the paper's data") {
  std::vector<study::EyeResult> eyes;
  for (std::size_t k = 0; k < 17; ++k) {
    study::EyeResult e = eye(0, 0);
    for (const double v : {large1[k], large2[k]}) {
      study::PhotographResult p;
      p.axis_deg = v / 4;
      e.visits[0].photographs.push_back(p);
    }
    e.visits[1].photographs.resize(2);  // without a reading
    eyes.push_back(e);
  }
  const auto repeats = study::repeats_of(eyes);
  CHECK(repeats.visits == 17);
  REQUIRE(repeats.result);
  CHECK(repeats.result->within_sd.value == Approx(15.307 / 4).epsilon(1e-4));
  CHECK(repeats.result->coefficient.value == Approx(42.43 / 4).epsilon(1e-4));
}

TEST_CASE("axes of 179 and 1 are two degrees apart") {
  std::vector<study::EyeResult> eyes = {eye(0, 0)};
  for (const double v : {179.0, 1.0}) {
    study::PhotographResult p;
    p.axis_deg = v;
    eyes[0].visits[0].photographs.push_back(p);
  }
  const auto repeats = study::repeats_of(eyes);
  REQUIRE(repeats.points.size() == 2);
  CHECK(std::abs(repeats.points[0].difference_deg) == Approx(1.0));
  CHECK(study::wrapped_deg(179.0 - 1.0) == Approx(-2.0));
  CHECK(study::wrapped_deg(90.0) == 90.0);
  CHECK(study::wrapped_deg(-90.0) == 90.0);
}

TEST_CASE("days between dates, over leap days") {
  CHECK(study::days_between("2024-02-28", "2024-03-01") == 2);
  CHECK(study::days_between("2026-03-01", "2026-02-28") == -1);
  CHECK_FALSE(study::days_between("", "2026-02-28"));
}
