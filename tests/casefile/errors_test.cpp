// Each mistake is one line that names file, place, bound and mend.
#include <catch2/catch.hpp>

#include "casefile/checked_table.h"
#include "casefile/texts.h"

using namespace casefile_texts;
using Catch::Matchers::Contains;
using Catch::Matchers::StartsWith;

namespace {

struct Mistake {
  const char* from;
  const char* to;
  const char* place;
  const char* problem;
  const char* mend;
};

void check_one(const std::string& line, const std::string& file, const Mistake& mistake) {
  INFO(line);
  CHECK_THAT(line, StartsWith(file + ": "));
  CHECK_THAT(line, Contains(mistake.place));
  CHECK_THAT(line, Contains(mistake.problem));
  CHECK_THAT(line, Contains(mistake.mend));
  CHECK(line.find('\n') == std::string::npos);
}

}  // namespace

TEST_CASE("mistakes in a case file") {
  const auto mistake = GENERATE(values<Mistake>({
      {"axis_deg      = 112.0", "axis_deg = 190", "line 13, column 12, plan.axis_deg",
       "190 is above 180", "0 to 180 degrees"},
      {"axis_deg      = 112.0", "axis_deg = -3.5", "plan.axis_deg", "-3.5 is below 0", "0 to 180"},
      {"axis_deg      = 112.0", "axis_deg = nan", "plan.axis_deg", "not a finite", "number"},
      {"axis_deg      = 112.0", "axis_deg = inf", "plan.axis_deg", "not a finite", "number"},
      {"axis_deg      = 112.0", "axis_deg = \"112\"", "plan.axis_deg", "is a text", "number"},
      {"axis_deg ", "axs_deg ", "line 13, column 1, plan.axs_deg", "unknown key",
       "did you mean axis_deg?"},
      {"[plan]", "[paln]", "line 12", "unknown key", "did you mean plan?"},
      {"[plan]", "[zzzzzzzz]", "zzzzzzzz", "unknown key", "remove it"},
      {"\"right\"", "\"rihgt\"", "line 3, column 12, case.eye", "rihgt", "right or left"},
      {"\"right\"", "\"\"", "case.eye", "still empty", "right or left"},
      {"eye      = \"right\"\n", "", "line 1, column 1, case.eye", "missing", "right or left"},
      {"id       = \"A-017\"\n", "", "case.id", "missing", "add id"},
      {"\"A-017\"", "\"\"", "case.id", "empty", "write"},
      {"\"A-017\"", "\"a\\nb\"", "case.id", "control character", "one line"},
      {"2026-05-14", "\"May 14\"", "case.date", "a text", "2026-05-14"},
      {"2026-05-14", "2026-02-30", "line 5", "not TOML", "mend"},
      {"\"bottom\"", "\"up\"", "video.superior", "\"up\"", "top, bottom, left or right"},
      {"false", "\"no\"", "video.mirrored", "a text", "true or false"},
      {"\"video.mp4\"", "[]", "video.file", "empty list", "at least one"},
      {"\"video.mp4\"", "[1]", "video.file", "not a text", "texts"},
      {"tolerance_deg = 5.0", "tolerance_deg = 0", "plan.tolerance_deg", "0 is below 0.1",
       "0.1 to"},
      {"tolerance_deg = 5.0", "from_previous_lens_deg = 5.0", "plan.from_previous_lens_deg",
       "beside axis_deg", "keep one"},
      {"axis_deg      = 112.0", "from_previous_lens_deg = 5.0", "plan.from_previous_lens_deg",
       "previous lens", "[previous_lens]"},
      {"axis_deg      = 112.0", "target_ink = true", "plan.target_ink", "without a planned axis",
       "add axis_deg"},
      {"\"ink\"", "\"inc\"", "reference.kind", "\"inc\"", "ink, photo, previous-lens or none"},
      {"[0.0, 180.0]", "[]", "reference.meridians_deg", "no meridian", "[0.0, 180.0]"},
      {"[0.0, 180.0]", "[0.0, 361]", "reference.meridians_deg", "361 is above 360", "0 to 360"},
      {"[0.0, 180.0]", "[0.0, 359]", "reference.meridians_deg", "nearer than 5", "once"},
      {"[0.0, 180.0]", "0.0", "reference.meridians_deg", "is a number", "list"},
      {"\"ink\"", "\"photo\"", "reference.meridians_deg", "unknown key", "file"},
      {"\"ink\"\nmeridians_deg = [0.0, 180.0]", "\"photo\"", "reference", "one photograph",
       "file ="},
      {"\"ink\"\nmeridians_deg = [0.0, 180.0]", "\"previous-lens\"", "reference.kind",
       "that lens's marks", "[previous_lens]"},
      {"[reference]\nkind          = \"ink\"\nmeridians_deg = [0.0, 180.0]", "", "", "[reference]",
       "\"none\""},
      {"\"dots\"", "\"lines\"", "lens.marks_per_end", "one at each end", "write 1"},
      {"marks_per_end = 3", "marks_per_end = 5", "lens.marks_per_end", "5 is above 4", "1 to 4"},
      {"marks_per_end = 3", "marks_per_end = 0", "lens.marks_per_end", "0 is below 1", "1 to 4"},
      {"marks_per_end = 3", "marks_per_end = 2.5", "lens.marks_per_end", "whole", "1 to 4"},
      {"marks_per_end = 3", "", "lens.marks_per_end", "missing", "1 to 4"},
      {"optic_mm      = 6.0", "optic_mm = 60", "lens.optic_mm", "60 is above 8", "mm"},
      {"cylinder_D    = 2.25", "cylinder_D = -2.25", "lens.cylinder_D", "-2.25 is below",
       "lens plane"},
      {"11.8", "1.18", "anatomy.white_to_white_mm", "1.18 is below 8", "8 to 15 mm"},
      {"[case]", "[case", "line 1", "not TOML", "mend"},
      {"[case]", "[[case]]", "case", "a list, not a table", "[case]"},
      {"[video]", "[case]", "line 7", "not TOML", "mend"},
      {"[case]", "[series]", "", "series of photographs", "rhumb followup"},
  }));
  check_one(complaint(with(whole_case, mistake.from, mistake.to)), "cases/case.toml", mistake);
}

TEST_CASE("mistakes in anchors") {
  const auto mistake = GENERATE(values<Mistake>({
      {"", "", "line 28, column 1, anchor[1].time_s", "missing", "add time_s"},
      {"", "time_s = -1\n", "anchor[1].time_s", "-1 is below 0", "0 to"},
      {"", "time_s = 1\n", "line 28, column 1, anchor[1]", "marks nothing", "lens_marks_px"},
      {"", "time_s = 1\nlens_marks_px = [[1, 2]]\n", "anchor[1].lens_marks_px", "1 points", "two"},
      {"", "time_s = 1\nlens_marks_px = [[1, 2], [1, 2, 3]]\n", "anchor[1].lens_marks_px",
       "3 numbers", "x, y"},
      {"", "time_s = 1\nlens_marks_px = [[1, 2], [1, 2]]\n", "anchor[1].lens_marks_px",
       "same point", "both ends"},
      {"", "time_s = 1\nlens_marks_px = [[1, 2], [1, nan]]\n", "anchor[1].lens_marks_px", "finite",
       "pixels"},
      {"", "time_s = 1\nlimbus_px = [[1,2],[3,4]]\n", "anchor[1].limbus_px", "below 5", "five"},
      {"", "time_s = 1\nink_px = [[1,2]]\n", "anchor[1].ink_px", "1 points for 2 meridians",
       "order"},
      {"", "time = 1\n", "anchor[1].time", "unknown key", "did you mean time_s?"},
  }));
  check_one(complaint(whole_case + "[[anchor]]\n" + mistake.to), "cases/case.toml", mistake);
}

TEST_CASE("mistakes in what is stated of the refraction") {
  const auto mistake = GENERATE(values<Mistake>({
      {"", "[keratometry]\nflat_D = 7.8\nsteep_D = 44\n", "keratometry.flat_D", "7.8 is below 25",
       "dioptres"},
      {"", "[keratometry]\nflat_D = 45\nsteep_D = 44\n", "keratometry.steep_D", "below flat_D",
       "exchange"},
      {"", "[keratometry]\nflat_D = 43\nsteep_D = 44\n", "keratometry", "not where",
       "steep_meridian_deg"},
      {"",
       "[keratometry]\nflat_D = 43\nsteep_D = 44\nflat_meridian_deg = 10\nsteep_meridian_deg = "
       "80\n",
       "keratometry.steep_meridian_deg", "90 degrees apart", "one of the two"},
      {"", "[refraction]\nsphere_D = 1\ncylinder_D = -1\n", "refraction", "no axis", "axis_deg"},
      {"", "[refraction]\nsphere_D = 100\ncylinder_D = -1\n", "refraction.sphere_D", "above 30",
       "dioptres"},
      {"", "[lens_power]\neffective_position_mm = 0.0051\n", "lens_power.effective_position_mm",
       "below 1", "mm"},
  }));
  check_one(complaint(whole_case + mistake.to), "cases/case.toml", mistake);
}

TEST_CASE("mistakes in a series") {
  const auto mistake = GENERATE(values<Mistake>({
      {"\"3 months\"", "\"1 day\"", "visit[2].label", "twice", "own label"},
      {"2026-08-14", "2026-01-14", "visit[2].date", "before", "order of time"},
      {"image = \"visit-2.png\"\n", "", "visit[2]", "no photograph", "image ="},
      {"image = \"visit-2.png\"", "image = \"a\"\nimages = [\"b\"]", "visit[2].images",
       "beside image", "one of the two"},
      {"label = \"3 months\"\n", "", "visit[2].label", "missing", "label"},
      {"[series]", "[case]", "", "one operation", "rhumb analyze"},
  }));
  check_one(series_complaint(with(whole_series, mistake.from, mistake.to)), "series/series.toml",
            mistake);
}

TEST_CASE("a lone reference is needed beside none") {
  const std::string both =
      with(whole_case, "[reference]", "[[reference]]") + "[[reference]]\nkind = \"none\"\n";
  CHECK_THAT(complaint(both), Contains("reference[2].kind") && Contains("stands beside"));
  const std::string twice = with(whole_case, "[reference]", "[[reference]]") +
                            "[[reference]]\nkind = \"ink\"\nmeridians_deg = [90]\n";
  CHECK_THAT(complaint(twice), Contains("reference[2].kind") && Contains("one list"));
}

TEST_CASE("the nearest word is by edits, and nothing far is offered") {
  // Worked by hand: axs -> axis is one insertion, aixs one swap; 'kitten' to 'sitting' is the
  // textbook's 3.
  const std::vector<std::string> known = {"axis_deg", "tolerance_deg", "sitting"};
  CHECK(rhumb::casefile::nearest("axs_deg", known) == "axis_deg");
  CHECK(rhumb::casefile::nearest("aixs_deg", known) == "axis_deg");
  CHECK(rhumb::casefile::nearest("kitten", known).empty());
  CHECK(rhumb::casefile::nearest(std::string(100000, 'x'), known).empty());
}
