// rhumb new: what it writes says what it saw, asks for the rest by name, and is never written over.
#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>

#include "casefile/read.h"
#include "cli/program.h"
#include "cli/starter.h"
#include "files/user_error.h"

using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;
using rhumb::cli::SeenFolder;

namespace {

std::string with(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

std::string complaint(const std::string& text) {
  try {
    rhumb::casefile::parse_case(text, "case.toml", rhumb::casefile::NamedFiles::Unchecked);
  } catch (const rhumb::UserError& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("what a starter leaves open is asked for by name, one after the other") {
  std::string text = rhumb::cli::starter_case(
      {{{"op.mp4", "1920 x 1080"}}, {{"eye.jpg", "JPEG, 2400 x 1600", {}, {}}}});
  CHECK_THAT(complaint(text), Contains("case.id"));
  text = with(text, "id  = \"\"", "id = \"A-1\"");
  CHECK_THAT(complaint(text), Contains("case.eye") && Contains("write right or left"));
  text = with(text, "eye = \"\"", "eye = \"left\"");
  CHECK_THAT(complaint(text), Contains("video.superior"));
  text = with(text, "superior = \"\"", "superior = \"top\"");
  CHECK_THAT(complaint(text), Contains("reference.kind"));
  text = with(text, "kind = \"\"", "kind = \"none\"");
  CHECK_THAT(complaint(text), Contains("lens.marks"));
  text = with(text, "marks = \"\"", "marks = \"lines\"");
  CHECK(complaint(text) == "accepted");
}

TEST_CASE("a starter that is woken up whole is a valid case") {
  std::string text = rhumb::cli::starter_case(
      {{{"op.mp4", "1920 x 1080"}}, {{"eye.jpg", "JPEG, 2400 x 1600", {}, {}}}});
  text = with(text, "id  = \"\"", "id = \"A-1\"");
  text = with(text, "eye = \"\"", "eye = \"left\"");
  text = with(text, "superior = \"\"", "superior = \"top\"");
  text = with(text, "kind = \"\"", "kind = \"photo\"");
  text = with(text, "# file           = ", "file           = ");
  text = with(text, "# horizontal_deg", "horizontal_deg");
  text = with(text, "marks = \"\"", "marks = \"dots\"");
  for (const char* line : {"operator = ",       "date     = ",        "[plan]",
                           "axis_deg      = ",  "tolerance_deg = ",   "target_ink ",
                           "marks_per_end = ",  "optic_mm ",          "cylinder_D    =",
                           "[previous_lens]",   "marks = \"lines\"",  "[anatomy]",
                           "white_to_white_mm", "[keratometry]",      "flat_D",
                           "steep_D",           "steep_meridian_deg", "[refraction]",
                           "sphere_D",          "cylinder_D = -",     "axis_deg   = 170",
                           "[lens_power]",      "sphere_equivalent_D"})
    text = with(text, std::string("# ") + line, line);
  CHECK(complaint(text) == "accepted");
}

TEST_CASE("hostile file names stay inside their quotes") {
  const std::string name = "a\"\n[case]\nid = \"x\\.mp4";
  const std::string text = rhumb::cli::starter_case({{{name, "facts"}, {"b.mp4", "facts"}}, {}});
  CHECK_THAT(complaint(text), Contains("case.id") && Contains("empty"));
  CHECK(rhumb::cli::toml_text("a\"b\\c\n") == "\"a\\\"b\\\\c\\u000A\"");
}

TEST_CASE("a folder with a recording gets a case with its facts") {
  const TestFolder folder;
  if (!has_command("new") || !record_test_picture(folder.path() / "op.mp4", 2, "320x240")) return;
  const Ran ran = run_rhumb({"new", folder.path().string()});
  INFO(ran.err);
  CHECK(ran.status == 0);
  CHECK_THAT(ran.out, Contains("case.toml"));
  std::ifstream stream(folder.path() / "case.toml");
  const std::string text{std::istreambuf_iterator<char>(stream), {}};
  CHECK_THAT(text, Contains("320 x 240, mpeg4, 0:02 long, 25.00 pictures a second") &&
                       Contains("file     = \"op.mp4\""));
  const Ran again = run_rhumb({"new", folder.path().string()});
  CHECK(again.status == 2);
  CHECK_THAT(again.err, Contains("is there already"));
  CHECK(folder.entries() == 2);
}

TEST_CASE("a folder with photographs gets a series") {
  const TestFolder folder;
  folder.write("visit 1.jpg", "not looked into");
  folder.write("visit 2.jpg", "not looked into");
  CHECK(run_rhumb({"new", folder.path().string()}).status == 0);
  std::ifstream stream(folder.path() / "series.toml");
  const std::string text{std::istreambuf_iterator<char>(stream), {}};
  CHECK_THAT(text, Contains("label    = \"visit 1\"") && Contains("image    = \"visit 2.jpg\""));
  CHECK_THAT(text, Contains("visit 1.jpg: cannot be read"));
}

TEST_CASE("what photographs state is filled in, what they do not is not guessed") {
  SeenFolder seen;
  seen.photographs = {{"a.dcm", "DICOM, 2400 x 1600", "2026-08-14", 'L'},
                      {"b.dcm", "DICOM, 2400 x 1600", "2026-05-15", 'L'}};
  std::string text = rhumb::cli::starter_series(seen);
  CHECK_THAT(text, Contains("eye = \"left\"") && Contains("date     = 2026-05-15   # as the file"));
  CHECK(text.find("\"b.dcm\"") < text.find("\"a.dcm\""));
  CHECK(text.find("\nsuperior") == std::string::npos);
  CHECK(text.find("\nmirrored") == std::string::npos);
  seen.photographs[1].laterality = 'R';
  seen.photographs[1].date.clear();
  text = rhumb::cli::starter_series(seen);
  CHECK_THAT(text, Contains("eye = \"\""));
  CHECK(text.find("\"a.dcm\"") < text.find("\"b.dcm\""));
}

TEST_CASE("nothing to begin with is said") {
  const TestFolder folder;
  const Ran empty = run_rhumb({"new", folder.path().string()});
  CHECK(empty.status == 2);
  CHECK_THAT(empty.err, Contains("neither a recording nor a photograph"));
  CHECK(run_rhumb({"new", (folder.path() / "missing").string()}).status == 2);
  CHECK(folder.entries() == 0);
}
