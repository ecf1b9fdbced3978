// The table of a follow-up series: what a visit is called is text, whatever it holds.
#include <catch2/catch.hpp>

#include "report/series_report.h"

TEST_CASE("a visit's label is a cell and nothing that a spreadsheet runs", "[report]") {
  rhumb::followup::SeriesOutcome series;
  series.visits.resize(2);
  series.visits[0].label = "=HYPERLINK(\"http://127.0.0.1\",\"1 day\")";
  series.visits[1].label = "3 months, late";
  const std::string table = rhumb::report::drift_csv(series);
  // RFC 4180, section 2; OWASP, CSV injection.
  CHECK(table.find("\r\n\"'=HYPERLINK(\"\"http://127.0.0.1\"\",\"\"1 day\"\")\",") !=
        std::string::npos);
  CHECK(table.find("\r\n\"3 months, late\",") != std::string::npos);
}
