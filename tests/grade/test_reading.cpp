// Outcomes that are whole, and every way in which they are not.
#include <catch2/catch.hpp>
#include <filesystem>

#include "grade/folder.h"
#include "grade/reading.h"

using namespace rhumb;
using namespace rhumb::grade;
using Catch::Matchers::Contains;

namespace {

const std::filesystem::path cohort = std::filesystem::path(RHUMB_FIXTURES) / "cohort" / "outcomes";

CaseReading changed(const std::string& from, const std::string& to) {
  std::string text = test::content_of(cohort / "exchange" / "result.json");
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return parse_outcome(text.replace(at, from.size(), to));
}

}  // namespace

TEST_CASE("a whole outcome is read", "[grade]") {
  const CaseReading r = read_outcome(cohort / "straddles-both");
  CHECK(r.not_graded == NotGraded::No);
  CHECK(r.case_id == "straddles-both");
  CHECK(r.operator_code == "f02");
  CHECK(r.date == "2026-05-02");
  CHECK(r.eye == "right");
  CHECK(*r.planned_deg == 178.0);
  CHECK(r.deviation->value == 7.4);
  CHECK(r.deviation->low == Approx(2.8));
  CHECK(r.deviation->high == Approx(12.0));
  CHECK(r.axis->value == Approx(5.4));
  CHECK(*r.tolerance_deg == 5.0);
  CHECK(r.budget[static_cast<std::size_t>(BudgetPart::AxisMarking)]->value == 7.4);
  CHECK_FALSE(r.budget[static_cast<std::size_t>(BudgetPart::ReferenceMarking)]);
}

TEST_CASE("each outcome that cannot be graded says why", "[grade]") {
  const auto check = [](const char* name, NotGraded kind, const char* words) {
    const CaseReading r = read_outcome(cohort / name);
    INFO(name << ": " << r.reason);
    CHECK(r.not_graded == kind);
    CHECK_THAT(r.reason, Contains(words));
  };
  check("no-axis", NotGraded::NoFinalAxis, "hidden to the end");
  check("no-plan", NotGraded::NoPlan, "no planned axis");
  check("relative", NotGraded::RelativeAxes, "meridians");
  check("newer", NotGraded::NewerSchema, "schema version 99");
  check("cut-off", NotGraded::Damaged, "no JSON from byte");
  check("odd", NotGraded::Damaged, "deviation_low_deg is no number");
  check("never-analysed", NotGraded::Missing, "no such outcome folder");
  CHECK(read_outcome(cohort).not_graded == NotGraded::Missing);
  CHECK(read_outcome(cohort / "f01-01", 100).not_graded == NotGraded::Damaged);
}

TEST_CASE("a turn from the previous lens is graded although axes are relative", "[grade]") {
  CHECK(read_outcome(cohort / "exchange").not_graded == NotGraded::No);
}

TEST_CASE("wrong values are damage, never numbers", "[grade]") {
  CHECK(changed("\"axis_deg\": 19.5", "\"axis_deg\": 1e999").not_graded == NotGraded::Damaged);
  CHECK(changed("\"deviation_deg\": 1.5", "\"deviation_deg\": 99").not_graded ==
        NotGraded::Damaged);
  CHECK(changed("\"deviation_low_deg\": 0.6", "\"deviation_low_deg\": 3").not_graded ==
        NotGraded::Damaged);
  CHECK(changed("\"deviation_low_deg\": 0.6", "\"deviation_low_deg\": null").not_graded ==
        NotGraded::Damaged);
  CHECK(changed("\"confidence\": 0.9", "\"confidence\": 1.5").not_graded == NotGraded::Damaged);
  CHECK(changed("\"final\": {", "\"finale\": {").not_graded == NotGraded::Damaged);
  CHECK(changed("\"schema_version\": 1", "\"schema_version\": \"1\"").not_graded ==
        NotGraded::Damaged);
  CHECK(changed("\"program\": \"rhumb\"", "\"program\": \"other\"").not_graded ==
        NotGraded::Damaged);
  CHECK(changed("\"case\": {", "\"case\": [], \"was\": {").not_graded == NotGraded::Damaged);
  CHECK(changed("\"date\": \"2026-05-02\"", "\"date\": \"yesterday\"").not_graded ==
        NotGraded::Damaged);
  CHECK(parse_outcome("[]").not_graded == NotGraded::Damaged);
  CHECK(parse_outcome("").not_graded == NotGraded::Damaged);
  CHECK(parse_outcome(std::string(200000, '[')).not_graded == NotGraded::Damaged);
}

TEST_CASE("an outcome cut off anywhere is damaged, and nothing worse", "[grade]") {
  const std::string text = test::content_of(cohort / "f01-01" / "result.json");
  for (std::size_t n = 0; n + 3 < text.size(); n += 7) {
    REQUIRE(parse_outcome(text.substr(0, n)).not_graded == NotGraded::Damaged);
  }
}

TEST_CASE("what is no file is not opened", "[grade]") {
  const test::Folder folder;
  std::filesystem::create_directories(folder.path() / "a" / "result.json");
  CHECK(read_outcome(folder.path() / "a").not_graded == NotGraded::Missing);
}
