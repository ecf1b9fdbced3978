// The trade's notation in and out (sphere/cylinder x axis; common practice, no source).
#include "optics/notation.h"

#include "near.h"

using namespace rhumb::optics;

TEST_CASE("Refractions are read as people write them") {
  check_lens(parse_notation("-0.50/-1.25x170").value(), lens(-0.5, -1.25, 170));
  check_lens(parse_notation("+1.75/+0.50x45").value(), lens(1.75, 0.5, 45));
  check_lens(parse_notation("0/-2X180").value(), lens(0, -2, 0));
  CHECK(parse_notation("-3.25")->cylinder_D == 0.0);
}

TEST_CASE("Anything else is refused") {
  for (const char* text :
       {"", "-", "x", "1/2", "1/2x", "1/2x181", "1/2x-3", "1/2x3x", "nan/1x2", "1e3", "+-1", "++1",
        "inf", "61", "1/-61x3", "1 /2x3", "0x10", "-0.50/-1.25@170"}) {
    INFO(text);
    CHECK_FALSE(parse_notation(text).has_value());
  }
}

TEST_CASE("Refractions are written as people write them") {
  CHECK(notation(lens(-0.5, -1.25, 170)) == "-0.50/-1.25x170");
  CHECK(notation(lens(0.0, -1.5, 0)) == "+0.00/-1.50x180");
  CHECK(notation(lens(1.0, -0.001, 30)) == "+1.00");
  CHECK(notation(lens(-0.001, -1.0, 179.8)) == "+0.00/-1.00x180");
  CHECK(axis_text(0.04 * rad, 1) == "180.0");
  CHECK(axis_text(-10 * rad, 1) == "170.0");
}
