// Fields of tables: RFC 4180 and what a spreadsheet would run.
#include "files/csv_field.h"

#include <catch2/catch.hpp>

using rhumb::files::csv_field;

TEST_CASE("text is quoted as RFC 4180, section 2, rules 6 and 7, says") {
  CHECK(csv_field("plain") == "plain");
  CHECK(csv_field("") == "");
  CHECK(csv_field("a,b") == "\"a,b\"");
  CHECK(csv_field("say \"so\"") == "\"say \"\"so\"\"\"");
  CHECK(csv_field("a\nb") == "\"a\nb\"");
}

TEST_CASE("what a spreadsheet would run gets an apostrophe, numbers stay (OWASP, CSV injection)") {
  CHECK(csv_field("=1+1") == "'=1+1");
  CHECK(csv_field("@x") == "'@x");
  CHECK(csv_field("-cmd|' /C calc'!A0") == "'-cmd|' /C calc'!A0");
  CHECK(csv_field("-1,x") == "\"'-1,x\"");
  CHECK(csv_field("\t=1") == "'\t=1");
  CHECK(csv_field("\n=1") == "\"'\n=1\"");
  CHECK(csv_field("\uFF1D1+1") == "'\uFF1D1+1");  // the equals sign in full width
  CHECK(csv_field("-2.5") == "-2.5");
  CHECK(csv_field("+1e3") == "+1e3");
}
