// How a turn between visits is put into words.
#include <catch2/catch.hpp>

#include "angle/angle.h"
#include "followup/verdict.h"

using namespace rhumb;

namespace {

std::string text(double value_deg, double low_deg, double high_deg) {
  return followup::turn_text({angle::rad_from_deg(value_deg), angle::rad_from_deg(low_deg),
                              angle::rad_from_deg(high_deg)});
}

}  // namespace

TEST_CASE("a turn is said with its sense, and its interval from the smaller turn on") {
  CHECK(text(-10.4, -10.8, -10.1) == "10.4 degrees clockwise (10.1 to 10.8)");
  CHECK(text(2.0, 1.5, 2.5) == "2.0 degrees counter-clockwise (1.5 to 2.5)");
}

TEST_CASE("an interval that holds both senses names them") {
  CHECK(text(0.1, -0.2, 0.4) ==
        "0.1 degrees counter-clockwise (0.2 clockwise to 0.4 counter-clockwise)");
  CHECK(text(-0.02, -0.3, 0.26) == "0.0 degrees (0.3 clockwise to 0.3 counter-clockwise)");
  CHECK(text(0.3, -0.01, 0.6) == "0.3 degrees counter-clockwise (0.0 to 0.6 counter-clockwise)");
}
