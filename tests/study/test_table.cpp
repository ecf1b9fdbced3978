// The table of a study: both forms, and one line that names the place for what can't be used.
#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

#include "files/user_error.h"
#include "study/table.h"

using namespace rhumb;
using Catch::Contains;
namespace fs = std::filesystem;

namespace {

struct Folder {
  fs::path path = fs::temp_directory_path() / ("rhumb-study-test-" + std::to_string(getpid()));
  Folder() { fs::create_directories(path); }
  ~Folder() { fs::remove_all(path); }
  fs::path write(const std::string& name, const std::string& text) const {
    std::ofstream(path / name, std::ios::binary) << text;
    return path / name;
  }
};

std::string refusal(const Folder& folder, const std::string& text) {
  try {
    study::read_table(folder.write("bad.csv", text));
  } catch (const UserError& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("rows of photographs become series") {
  const Folder folder;
  for (const char* name : {"a.png", "b.png", "c \"x\".png"}) folder.write(name, "");
  const auto file = folder.write(
      "t.csv",
      "id,eye,visit,date,image,superior,mirrored,marks,marks_per_end,plan_axis_deg,clinic,"
      "anna_drift_deg,surgery_date\n"
      "F-1,left,1 day,2026-01-02,a.png,top,,dots,3,70,north,,2026-01-01\n"
      "F-1,left,3 months,2026-04-02,b.png,bottom,true,dots,3,70,north,-2.5,2026-01-01\n"
      "F-1,left,3 months,2026-04-02,\"c \"\"x\"\".png\",bottom,true,dots,3,70,north,,2026-01-01\n");
  const study::Table table = study::read_table(file);
  REQUIRE(table.eyes.size() == 1);
  CHECK(table.covariates == std::vector<std::string>{"clinic"});
  REQUIRE(table.readers.size() == 1);
  CHECK(table.readers[0].reader == "anna");
  CHECK(table.readers[0].is_drift);
  CHECK(table.eyes[0].surgery_date == "2026-01-01");
  REQUIRE(table.eyes[0].remarks.size() == 2);
  CHECK(table.eyes[0].remarks[1].readings_deg[0] == Approx(-2.5));
  const casefile::Series series = study::series_of(table, table.eyes[0]);
  CHECK(series.id == "F-1");
  CHECK(series.eye == casefile::Eye::Left);
  CHECK(series.lens.marks_per_end == 3);
  REQUIRE(series.visits.size() == 2);
  REQUIRE(series.visits[1].images.size() == 2);
  CHECK(series.visits[1].images[1].filename() == "c \"x\".png");
  CHECK(series.visits[1].superior == casefile::Superior::Bottom);
  CHECK(series.visits[1].mirrored);
  CHECK(series.visits[0].date == "2026-01-02");
}

TEST_CASE("a table of series files keeps each eye's folder whatever else stands in it") {
  const Folder folder;
  const auto one = study::read_table(folder.write("one.csv", "series\nx/a.toml\ny/b.toml\n"));
  const auto two = study::read_table(folder.write("two.csv", "series\ny/b.toml\n"));
  REQUIRE(one.eyes.size() == 2);
  CHECK(one.eyes[1].folder == two.eyes[0].folder);
  CHECK(one.eyes[0].folder != one.eyes[1].folder);
  CHECK(one.eyes[0].series_file == folder.path / "x/a.toml");
}

TEST_CASE("what can't be used is named with line and column") {
  const Folder folder;
  CHECK_THAT(refusal(folder, "id,eye\nF,left\n"), Contains("no column named 'visit'"));
  CHECK_THAT(refusal(folder, "series\n\"\"\n"), Contains("line 2, column A (series)"));
  CHECK_THAT(refusal(folder, "series\nx.toml\nx.toml\n"), Contains("line 3") && Contains("twice"));
  CHECK_THAT(refusal(folder, "series,a_axis_deg\nx.toml,190\n"), Contains("from 0 to 180"));
  CHECK_THAT(refusal(folder, "series,a_axis_deg\nx.toml,ten\n"), Contains("no number"));
  CHECK_THAT(refusal(folder, "series,surgery_date\nx.toml,1.2.2026\n"), Contains("no date"));
  CHECK_THAT(
      refusal(folder, "id,eye,visit,image,marks\nF,left,1,a.png,lines\nF,right,2,b.png,lines\n"),
      Contains("line 3, column B (eye)") && Contains("'left' of line 2"));
  CHECK_THAT(
      refusal(folder, "id,eye,visit,image,marks,mirrored\nF,left,1,a.png,lines,\"x\n[lens]\"\n"),
      Contains("mirrored"));
  CHECK_THAT(refusal(folder, "series\n"), Contains("no rows"));
}

TEST_CASE("an eye whose photograph is missing is refused with the table's line and the key") {
  const Folder folder;
  const auto table = study::read_table(
      folder.write("t.csv", "id,eye,visit,image,marks\nF,left,1 day,none.png,lines\n"));
  CHECK_THROWS_WITH(study::series_of(table, table.eyes[0]),
                    Contains("t.csv: line 2 and on, eye F") && Contains("none.png"));
}
