// timeline.csv and result.json, read back by programs that are not ours (Python's csv module and
// python3-jsonschema).
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <limits>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "report/degrees.h"
#include "report/invented.h"
#include "report/result_json.h"
#include "report/timeline_csv.h"

using namespace rhumb;
using namespace rhumb::report;
using namespace rhumb::report_test;

namespace {

int python(const std::string& script) {
  return std::system(("/usr/bin/python3 -c '" + script + "'").c_str());
}

bool python_has(const std::string& module) { return python("import " + module) == 0; }

}  // namespace

TEST_CASE("Python's csv module reads the timeline back as it was", "[report]") {
  const Scratch scratch;
  outcome::CaseOutcome outcome = invented_outcome();
  outcome.rows[298].looked_at = false;
  write_timeline_csv(outcome, scratch.path() / "timeline.csv");
  // The columns are those of docs/outputs.md; the empty fields those of the invented rows.
  const std::string script =
      "import csv,sys\n"
      "rows=list(csv.DictReader(open(\"" +
      (scratch.path() / "timeline.csv").string() +
      "\",newline=\"\")))\n"
      "assert list(rows[0])==[\"frame\",\"time_s\",\"lens\",\"limbus_x_px\",\"limbus_y_px\","
      "\"limbus_radius_px\",\"eye_rotation_deg\",\"axis_deg\",\"axis_low_deg\",\"axis_high_deg\","
      "\"confidence\",\"deviation_deg\",\"axis_low50_deg\",\"axis_high50_deg\","
      "\"looked_at\"]\n"
      "assert [r[\"looked_at\"] for r in rows].count(\"0\")==1 and "
      "rows[298][\"looked_at\"]==\"0\"\n"
      "assert len(rows)==300\n"
      "assert [r[\"axis_deg\"]==\"\" for r in rows].count(True)==50\n"
      "assert rows[110][\"lens\"]==\"unknown\" and rows[110][\"limbus_x_px\"]==\"\"\n"
      "assert rows[90][\"lens\"]==\"none\" and rows[90][\"eye_rotation_deg\"]!=\"\"\n"
      "assert abs(float(rows[299][\"axis_deg\"])-114.1)<1e-9\n"
      "assert abs(float(rows[299][\"deviation_deg\"])-2.1)<1e-9\n"
      "assert abs(float(rows[0][\"deviation_deg\"])+52)<1e-9\n"
      "assert all(float(r[\"axis_low_deg\"])<=float(r[\"axis_deg\"])<=float(r[\"axis_high_deg\"]) "
      "for r in rows if r[\"axis_deg\"])\n"
      "assert all(abs(float(r[\"axis_high50_deg\"])-float(r[\"axis_deg\"])-0.3)<1.1e-4 and "
      "abs(float(r[\"axis_deg\"])-float(r[\"axis_low50_deg\"])-0.3)<1.1e-4 "
      "for r in rows if r[\"axis_deg\"])\n"
      "assert all(r[\"axis_low50_deg\"]==\"\" for r in rows if not r[\"axis_deg\"])\n";
  CHECK(python(script) == 0);
}

TEST_CASE("An axis near 180 is written below 180 with its interval around it", "[report]") {
  for (const double deg : {-1e-9, 179.99999, 180.0, 179.9999, 0.0, 359.99999, -180.0}) {
    const double value = angle::rad_from_deg(deg);
    const IntervalDeg axis = axis_deg({value, value - 0.01, value + 0.02});
    INFO(deg);
    CHECK(axis.value >= 0.0);
    CHECK(axis.value < 180.0);
    CHECK(axis.low <= axis.value);
    CHECK(axis.value <= axis.high);
    CHECK(axis.high - axis.low == Approx(angle::deg_from_rad(0.03)).margin(2e-4));
  }
  CHECK(deviation_deg({-angle::pi / 2, -1.6, -1.5}).value == 90.0);
  CHECK(axis_text(0.0) == "180.0");
  CHECK(axis_text(179.97) == "180.0");
  CHECK(axis_text(12.34) == "12.3");
  CHECK(signed_text(-0.04) == "0.0");
  CHECK(signed_text(-2.06) == "\u22122.1");
}

TEST_CASE("Values that are not finite leave fields empty", "[report]") {
  outcome::CaseOutcome outcome = invented_outcome();
  outcome.rows.resize(1);
  outcome.rows[0].axis->high_rad = std::numeric_limits<double>::infinity();
  outcome.rows[0].limbus_radius_px = std::nan("");
  const std::string csv = timeline_csv(outcome);
  CHECK(csv.find("nan") == std::string::npos);
  CHECK(csv.find("inf") == std::string::npos);
  CHECK(csv.substr(csv.size() - 9) == ",,,,,,1\r\n");
  outcome.final->axis.high_rad = std::nan("");
  CHECK(nlohmann::json::parse(result_json(outcome))["final"]["high_deg"].is_null());
}

TEST_CASE("result.json follows its schema", "[report]") {
  if (!python_has("jsonschema")) {
    WARN("python3-jsonschema is not here: the schema is not checked");
    return;
  }
  const Scratch scratch;
  outcome::CaseOutcome hostile_one = invented_outcome();
  hostile_one.stated.id = hostile;
  hostile_one.verdict = "bytes that are no UTF-8: \xff\xfe";
  hostile_one.axes_are_relative = true;
  int number = 0;
  for (const outcome::CaseOutcome& outcome : {invented_outcome(), empty_outcome(), hostile_one}) {
    const auto file = scratch.path() / (std::to_string(number++) + ".json");
    write_result_json(outcome, file);
    CHECK(python("import json,jsonschema\n"
                 "schema=json.load(open(\"" RHUMB_SOURCE_DIR
                 "/docs/schemas/result.schema.json\"))\n"
                 "jsonschema.Draft202012Validator(schema).validate(json.load(open(\"" +
                 file.string() + "\")))") == 0);
  }
}

TEST_CASE("result.json holds what the outcome holds", "[report]") {
  const auto value = nlohmann::json::parse(result_json(invented_outcome()));
  CHECK(value["final"]["axis_deg"] == 114.1);
  CHECK(value["final"]["deviation_deg"] == 2.1);
  CHECK(value["plan"]["axis_deg"] == 112.0);
  CHECK(value["plan"]["tolerance_deg"] == 5.0);
  CHECK(value["episodes"].size() == 2);
  CHECK(value["episodes"][0]["still"][0]["axis_deg"] == 60.0);
  CHECK(value["reference"][0]["ink"][1]["meridian_deg"] == 180.0);
  CHECK(value["error_budget"]["axis_marking"].is_null());
  CHECK(value["error_budget"]["rotation_after_placement"]["value_deg"] == 0.6);
  // Residual cylinder of a lens turned by d: 2 sin(d) of its cylinder (obliquely crossed cylinders,
  // Thibos, Wheeler and Horner 1997); here 2.1 degrees.
  CHECK(value["refraction"]["deviation"]["lost_share"]["value"].get<double>() ==
        Approx(2.0 * std::sin(angle::rad_from_deg(2.1))).epsilon(0.01));
  CHECK(value["case"]["operator"] == "f03");
  const auto nothing = nlohmann::json::parse(result_json(empty_outcome()));
  CHECK(nothing["final"].is_null());
  CHECK(nothing["refraction"].is_null());
  CHECK(nothing["plan"]["axis_deg"].is_null());
}
