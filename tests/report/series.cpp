// What a follow-up series and a study leave, read back by programs that are not ours (Python's csv
// module and python3-jsonschema).
#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "report/invented.h"
#include "report/series_report.h"
#include "report/study_report.h"

using namespace rhumb;
using namespace rhumb::report;
using namespace rhumb::report_test;
using Catch::Contains;

namespace {

int python(const std::string& script) {
  return std::system(("/usr/bin/python3 -c '" + script + "'").c_str());
}

bool follows_schema(const std::filesystem::path& file, const std::string& schema) {
  return python(
             "import json,jsonschema\nschema=json.load(open(\"" RHUMB_SOURCE_DIR "/docs/schemas/" +
             schema + "\"))\njsonschema.Draft202012Validator(schema).validate(json.load(open(\"" +
             file.string() + "\")))") == 0;
}

outcome::Interval about(double deg, double half_deg) {
  return {angle::rad_from_deg(deg), angle::rad_from_deg(deg - half_deg),
          angle::rad_from_deg(deg + half_deg)};
}

// Three visits of an invented eye, grey discs for photographs; nothing could be read at the third.
followup::SeriesOutcome invented_series(const std::string& id) {
  followup::SeriesOutcome out;
  out.stated.id = id;
  out.verdict = "Invented.";
  out.measured = true;
  const char* labels[] = {"surgery", "1 day", "3 months"};
  const char* dates[] = {"2026-01-01", "2026-01-02", "2026-04-01"};
  for (int v = 0; v < 3; ++v) {
    followup::PhotoResult photo;
    photo.file = "visit-" + std::to_string(v + 1) + ".png";
    photo.visit = v;
    photo.upright_bgr = cv::Mat(60, 80, CV_8UC3, cv::Scalar(90, 90, 90));
    photo.width = 80;
    photo.height = 60;
    photo.matched = v < 2;
    eye::LimbusEllipse limbus;
    limbus.centre_px = {40, 30};
    limbus.semi_major_px = limbus.semi_minor_px = 20;
    photo.limbus = limbus;
    followup::VisitResult visit;
    visit.label = labels[v];
    visit.date = dates[v];
    if (v < 2) {
      photo.chosen = 0;
      photo.candidates.resize(1);
      photo.candidates[0].end_a = {0.4, 0.1};
      photo.candidates[0].end_b = {-0.4, -0.1};
      photo.axis_rad = angle::rad_from_deg(14.0);
      photo.axis_se_rad = 0.002;
      visit.axis = about(v == 0 ? 0.05 : 3.05, 0.3);
      visit.head_tilt = about(-4.0, 0.1);
      visit.drift = about(3.0 * v, 0.4 * v);
      visit.step = visit.drift;
    } else {
      photo.why_not = visit.why_not = "the lens marks can't be read";
    }
    out.photos.push_back(photo);
    out.visits.push_back(visit);
  }
  followup::Pair pair;
  pair.first = 0;
  pair.second = 1;
  pair.match.accepted = true;
  pair.match.evidence = 80;
  out.pairs.push_back(pair);
  return out;
}

outcome::RunRecord invented_run() {
  outcome::RunRecord run;
  run.program_version = "1";
  run.commit = "0";
  run.libraries = {{"one", "1.0"}};
  run.case_sha256 = std::string(64, 'a');
  run.input_sha256 = {std::string(64, 'b'), std::string(64, 'c'), std::string(64, 'd')};
  return run;
}

// A study of what two series left, and an eye that failed.
study::Study invented_study(const Scratch& scratch, const std::string& text) {
  study::Table table;
  table.readers = {{"anna_drift_deg", "anna", true}};
  table.covariates = {"clinic"};
  std::vector<study::EyeResult> eyes;
  for (int i = 0; i < 3; ++i) {
    study::TableEye eye;
    eye.line = i + 2;
    eye.folder = "eye-" + std::to_string(i);
    eye.stated = eye.folder;
    eye.surgery_date = "2026-01-01";
    eye.remarks = {{"1 day", {2.0 + i}, {text}}};
    if (i < 2) {
      write_series(invented_series(text), invented_run(), scratch.path() / eye.folder);
      eyes.push_back(study::read_eye_result(scratch.path() / eye.folder));
    } else {
      eyes.push_back(study::failed_eye(table, eye, "no such file: " + text));
    }
    table.eyes.push_back(eye);
  }
  return study::sum_up(table, eyes);
}

}  // namespace

TEST_CASE("drift.csv has the stated columns, and empty fields where nothing was read", "[report]") {
  const std::string csv = drift_csv(invented_series("F-1"));
  CHECK(csv.substr(0, csv.find("\r\n")) ==
        "visit,date,axis_deg,axis_low_deg,axis_high_deg,head_tilt_deg,drift_deg,drift_low_deg,"
        "drift_high_deg,step_deg");
  // 0.05 less 0.3 passes below 0: low <= axis <= high all the same.
  CHECK_THAT(csv,
             Contains("surgery,2026-01-01,0.0500,-0.2500,0.3500,-4.0000,0.0000,0.0000,0.0000"));
  CHECK_THAT(csv, Contains("3 months,2026-04-01,,,,,,,,\r\n"));
}

TEST_CASE("result.json of a series and study.json follow their schemas", "[report]") {
  if (python("import jsonschema") != 0) {
    WARN("python3-jsonschema is not here: the schemas are not checked");
    return;
  }
  const Scratch scratch;
  const study::Study study = invented_study(scratch, hostile);
  CHECK(follows_schema(scratch.path() / "eye-0" / "result.json", "series.schema.json"));
  write_study(study, invented_run(), scratch.path() / "study");
  CHECK(follows_schema(scratch.path() / "study" / "study.json", "study.schema.json"));
}

TEST_CASE("a series read back is what was written", "[report]") {
  const Scratch scratch;
  const study::Study study = invented_study(scratch, "F-1");
  REQUIRE(study.eyes.size() == 3);
  const auto& visits = study.eyes[0].visits;
  REQUIRE(visits.size() == 3);
  CHECK(visits[1].drift->value == Approx(3.0));
  CHECK(visits[1].drift->low == Approx(2.6));
  CHECK_FALSE(visits[2].drift);
  CHECK(visits[1].photographs[0].sha256 == std::string(64, 'c'));
  CHECK(study.rotations == 2);
  CHECK(study.visits_after_first == 4);
  const auto folder = scratch.path() / "eye-0";
  const auto run = invented_run();
  CHECK(study::is_up_to_date(folder, "1", "0", run.case_sha256, run.input_sha256));
  CHECK_FALSE(study::is_up_to_date(folder, "2", "0", run.case_sha256, run.input_sha256));
  CHECK_FALSE(study::is_up_to_date(folder, "1", "0", std::string(64, 'x'), run.input_sha256));
  auto other = run.input_sha256;
  other[2][0] = 'e';
  CHECK_FALSE(study::is_up_to_date(folder, "1", "0", run.case_sha256, other));
  CHECK_FALSE(study::is_up_to_date(scratch.path() / "none", "1", "0", run.case_sha256, other));
}

TEST_CASE("the study's tables are read by Python, and every column is described", "[report]") {
  const Scratch scratch;
  write_study(invented_study(scratch, hostile), invented_run(), scratch.path() / "study");
  CHECK(python("import csv,os\n"
               "d=\"" +
               (scratch.path() / "study").string() +
               "\"\n"
               "read=lambda n: list(csv.reader(open(os.path.join(d,n),newline=\"\")))\n"
               "said={}\n"
               "for r in read(\"columns.csv\")[1:]: said.setdefault(r[0],[]).append(r[1])\n"
               "assert len(said)==4\n"
               "for n,c in said.items():\n"
               "    t=read(n)\n"
               "    assert t[0]==c and all(len(r)==len(c) for r in t), n\n"
               "rows=list(csv.DictReader(open(os.path.join(d,\"study.csv\"),newline=\"\")))\n"
               "assert len(rows)==7\n"
               "assert rows[1][\"drift_deg\"]==\"3\" and rows[1][\"anna_drift_deg\"]==\"2\"\n"
               "assert rows[2][\"drift_deg\"]==\"\" and rows[2][\"why_not\"]\n"
               "assert rows[1][\"days_since_surgery\"]==\"1\" and "
               "rows[2][\"days_since_first\"]==\"90\"\n"
               "assert rows[6][\"why_not\"].startswith(\"no such file\")\n") == 0);
}

TEST_CASE("the pages show a hostile text as text", "[report]") {
  const Scratch scratch;
  const study::Study study = invented_study(scratch, hostile);
  for (const std::string& page :
       {study_page(study, invented_run()), series_page(invented_series(hostile), invented_run())}) {
    CHECK(page.find("<script>alert") == std::string::npos);
    CHECK(page.find("<!-- ") == std::string::npos);
    CHECK_THAT(page, Contains("Content-Security-Policy"));
    CHECK_THAT(page, Contains("For review after surgery"));
  }
}
