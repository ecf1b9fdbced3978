// What a valid file becomes. The conventions are ISO 8429's: axes in [0, 180) with 180 written for
// 0.
#include <catch2/catch.hpp>

#include "angle/angle.h"
#include "casefile/texts.h"

using namespace casefile_texts;
using namespace rhumb::casefile;
using rhumb::angle::deg_from_rad;

TEST_CASE("every value of the documented case arrives") {
  const Case stated = parsed(whole_case);
  CHECK(stated.id == "A-017");
  CHECK(stated.eye == Eye::Right);
  CHECK(stated.operator_code == "f03");
  CHECK(stated.date == "2026-05-14");
  REQUIRE(stated.video.files.size() == 1);
  CHECK(stated.video.files[0] == std::filesystem::path("cases/video.mp4"));
  CHECK(stated.video.superior == Superior::Bottom);
  CHECK_FALSE(stated.video.mirrored);
  CHECK(deg_from_rad(stated.plan.axis_rad.value()) == Approx(112.0));
  CHECK(deg_from_rad(stated.plan.tolerance_rad.value()) == Approx(5.0));
  REQUIRE(stated.references.size() == 1);
  CHECK(stated.references[0].kind == ReferenceKind::Ink);
  REQUIRE(stated.references[0].meridians_rad.size() == 2);
  CHECK(deg_from_rad(stated.references[0].meridians_rad[1]) == Approx(180.0));
  CHECK(stated.lens.marks == MarkKind::Dots);
  CHECK(stated.lens.marks_per_end == 3);
  CHECK(stated.lens.optic_mm.value() == 6.0);
  CHECK(stated.lens.cylinder_D.value() == 2.25);
  CHECK(stated.white_to_white_mm.value() == 11.8);
  CHECK_FALSE(stated.previous_lens.has_value());
}

TEST_CASE("an axis of 180 is 0, a meridian of 360 is 0") {
  const Case axis = parsed(with(whole_case, "axis_deg      = 112.0", "axis_deg = 180"));
  CHECK(axis.plan.axis_rad.value() == 0.0);
  const Case ink = parsed(with(whole_case, "[0.0, 180.0]", "[360, 90]"));
  CHECK(ink.references[0].meridians_rad[0] == 0.0);
}

TEST_CASE("a recording may come in parts") {
  const Case parts = parsed(with(whole_case, "\"video.mp4\"", "[\"a.mp4\", \"b.mp4\"]"));
  REQUIRE(parts.video.files.size() == 2);
  CHECK(parts.video.files[1] == std::filesystem::path("cases/b.mp4"));
}

TEST_CASE("several references and an exchange") {
  const std::string exchange =
      with(whole_case, "[reference]", "[previous_lens]\nmarks = \"lines\"\n\n[[reference]]") +
      "[[reference]]\nkind = \"previous-lens\"\naxis_deg = 87.0\n"
      "[[reference]]\nkind = \"photo\"\nfile = \"upright.png\"\nhorizontal_deg = 10.0\n";
  const Case stated = parsed(exchange);
  REQUIRE(stated.references.size() == 3);
  CHECK(stated.references[1].kind == ReferenceKind::PreviousLens);
  CHECK(deg_from_rad(stated.references[1].previous_axis_rad.value()) == Approx(87.0));
  CHECK(stated.references[2].photo == std::filesystem::path("cases/upright.png"));
  CHECK(deg_from_rad(stated.references[2].photo_horizontal_rad) == Approx(10.0));
  CHECK(stated.previous_lens.value().marks == MarkKind::Lines);
  CHECK(stated.previous_lens.value().marks_per_end == 1);
}

TEST_CASE("anchors keep their place for messages") {
  const std::string anchored = whole_case + R"(
[[anchor]]
time_s        = 12.4
reader        = "r2"
lens_marks_px = [[812.0, 310.5], [1044.2, 655]]
ink_px        = [[640.0, 480.0], [1218.3, 470.9]]
)";
  const Case stated = parsed(anchored);
  REQUIRE(stated.anchors.size() == 1);
  CHECK(stated.anchors[0].time_s == 12.4);
  CHECK(stated.anchors[0].reader == "r2");
  CHECK(stated.anchors[0].lens_marks_px[1].y == 655.0);
  CHECK(stated.anchors[0].ink_px.size() == 2);
  CHECK(stated.anchors[0].line == 29);
}

TEST_CASE("keratometry, refraction and lens power are read in the trade's notation") {
  const std::string stated_text = whole_case + R"(
[keratometry]
flat_D  = 42.75
steep_D = 44.5
steep_meridian_deg = 85
se_D = 0.2
se_axis_deg = 3

[refraction]
sphere_D = -0.5
cylinder_D = -1.25
axis_deg = 180
vertex_mm = 13

[lens_power]
sphere_equivalent_D = 21.5
effective_position_mm = 5.1
)";
  const Case stated = parsed(stated_text);
  const auto& k = stated.refraction.keratometry.value();
  CHECK(deg_from_rad(k.flat_meridian_rad) == Approx(175.0));  // perpendicular to 85
  CHECK(k.steep_D == 44.5);
  CHECK(k.se_D == 0.2);
  CHECK(deg_from_rad(k.se_axis_rad) == Approx(3.0));
  CHECK(stated.refraction.refraction.value().axis_rad == 0.0);
  CHECK(stated.refraction.refraction.value().vertex_mm == 13.0);
  CHECK(stated.refraction.lens_power.value().sphere_equivalent_D.value() == 21.5);
}

TEST_CASE("every value of the documented series arrives") {
  const Series series = parsed_series(whole_series);
  CHECK(series.id == "F-003");
  CHECK(series.eye == Eye::Left);
  CHECK(deg_from_rad(series.plan_axis_rad.value()) == Approx(70.0));
  REQUIRE(series.visits.size() == 2);
  CHECK(series.visits[1].label == "3 months");
  CHECK(series.visits[1].date == "2026-08-14");
  CHECK(series.visits[1].images[0] == std::filesystem::path("series/visit-2.png"));
  const Series several = parsed_series(
      with(whole_series, "image    = \"visit-1.png\"", "images = [\"a.png\", \"b.png\"]"));
  CHECK(several.visits[0].images.size() == 2);
}
