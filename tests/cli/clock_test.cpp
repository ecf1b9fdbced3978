#include "cli/clock.h"

#include <catch2/catch.hpp>

using rhumb::cli::clock_text;
using rhumb::cli::seconds_from;

TEST_CASE("times are written as people read them") {
  CHECK(clock_text(0.0) == "0:00");
  CHECK(clock_text(187.4) == "3:07");
  CHECK(clock_text(3765.0) == "1:02:45");
  CHECK(clock_text(59.6) == "1:00");
  CHECK(clock_text(-5.0) == "0:00");
}

TEST_CASE("times are read as people write them") {
  CHECK(seconds_from("187.5").value() == 187.5);
  CHECK(seconds_from("3:07.5").value() == 187.5);
  CHECK(seconds_from("1:02:45").value() == 3765.0);
  for (const char* wrong : {"", ":", "1:", ":1", "1:60", "1:2:3:4", "-1", "nan", "inf", "1e3", "x",
                            "1 ", "1:-2", "9999999"})
    CHECK_FALSE(seconds_from(wrong).has_value());
}
