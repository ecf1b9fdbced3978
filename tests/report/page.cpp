// The page's language, its escaping, and the set of files that a run leaves.
#include "report/page.h"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "files/user_error.h"
#include "report/base64.h"
#include "report/invented.h"
#include "report/report.h"
#include "report/template.h"
#include "video/reader.h"

using namespace rhumb;
using namespace rhumb::report;
using namespace rhumb::report_test;
using Json = nlohmann::ordered_json;

TEST_CASE("Templates are filled as the Mustache manual shows", "[report]") {
  // Examples of mustache(5), mustache.github.io, from memory.
  CHECK(fill("Hello {{name}}, you have won {{value}} dollars!{{#in_ca}} Taxed.{{/in_ca}}",
             Json{{"name", "Chris"}, {"value", 10000}, {"in_ca", true}}) ==
        "Hello Chris, you have won 10000 dollars! Taxed.");
  CHECK(fill("{{company}} {{{company}}}", Json{{"company", "<b>GitHub</b>"}}) ==
        "&lt;b&gt;GitHub&lt;/b&gt; <b>GitHub</b>");
  CHECK(fill("{{#repo}}<b>{{name}}</b>{{/repo}}{{^repo}}No repos{{/repo}}",
             Json{{"repo", {{{"name", "resque"}}, {{"name", "hub"}}}}}) ==
        "<b>resque</b><b>hub</b>");
  CHECK(fill("{{#repo}}<b>{{name}}</b>{{/repo}}{{^repo}}No repos{{/repo}}",
             Json{{"repo", Json::array()}}) == "No repos");
  CHECK(fill("{{#list}}{{.}},{{/list}}", Json{{"list", {1, 2}}}) == "1,2,");
  // Values are never read as templates.
  CHECK(fill("{{a}}", Json{{"a", "{{b}}"}}) == "{{b}}");
  CHECK_THROWS_AS(fill("{{#a}}", Json{{"a", true}}), std::logic_error);
  CHECK_THROWS_AS(fill("{{a}}", Json::object()), std::logic_error);
}

TEST_CASE("Base64 is that of RFC 4648", "[report]") {
  // Test vectors of RFC 4648, section 10.
  const auto coded = [](const std::string& text) {
    return base64({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
  };
  CHECK(coded("") == "");
  CHECK(coded("f") == "Zg==");
  CHECK(coded("fo") == "Zm8=");
  CHECK(coded("foo") == "Zm9v");
  CHECK(coded("foobar") == "Zm9vYmFy");
}

TEST_CASE("Nothing that a case states becomes markup", "[report]") {
  CHECK(escape_html("a\u202Eb\x01") == "a\u27E8U+202E\u27E9b\u27E8U+0001\u27E9");
  CHECK(escape_html("\xff\xc3") == "\uFFFD\uFFFD");
  CHECK(escape_html("<a href='x' title=\"y\">&") ==
        "&lt;a href=&#39;x&#39; title=&quot;y&quot;&gt;&amp;");
  outcome::CaseOutcome outcome = invented_outcome();
  outcome.stated.id = outcome.stated.operator_code = outcome.stated.date = hostile;
  outcome.verdict = outcome.references[0].statement = outcome.limitations[0].reason = hostile;
  outcome.evidence[0].caption = outcome.rows[110].why_not = hostile;
  outcome.run.options = {{hostile, hostile}};
  outcome.run.warnings = outcome.video.notes = {hostile};
  outcome.hand_readings[0].reader = outcome.hand_readings[0].remark = hostile;
  outcome.reader_agreement[0].first = hostile;
  Still still;
  still.straight_uri = still.recorded_uri = "data:image/jpeg;base64,";
  still.recorded_px = {0, 0, 640, 480};
  const std::string text = page(outcome, {still, still}, true);
  CHECK(text.find("<script>alert") == std::string::npos);
  CHECK(text.find("onload=\"") == std::string::npos);
  CHECK(text.find("<!-- ") == std::string::npos);
  CHECK(text.find("\u202E") == std::string::npos);
  CHECK(text.find("&lt;script&gt;alert(&#39;x&#39;)") != std::string::npos);
}

TEST_CASE("The page says what became of marks set by hand and how readers agree", "[report]") {
  const std::string text = page(invented_outcome(), {}, false);
  CHECK(text.find("A click is taken to be good to 2 pixels") != std::string::npos);
  CHECK(text.find("Its marks were followed; an invented remark.") != std::string::npos);
  CHECK(text.find("112.5\u00B0 to 116.3\u00B0") != std::string::npos);
  CHECK(text.find("Not used: it lies outside the recording.") != std::string::npos);
  CHECK(text.find("Readers r1 and r2 marked one moment together: r2 lies \u22121.2\u00B0 from r1 "
                  "on average, "
                  "1.2\u00B0 at most.") != std::string::npos);
  outcome::CaseOutcome bare = invented_outcome();
  bare.hand_readings.clear();
  CHECK(page(bare, {}, false).find("What became of it") == std::string::npos);
}

TEST_CASE("The page sets the interval against the tolerance, not the estimate alone", "[report]") {
  const auto said = [](double value_deg, double half_deg) {
    outcome::CaseOutcome outcome = invented_outcome();
    outcome.final->deviation =
        outcome::Interval{angle::rad_from_deg(value_deg), angle::rad_from_deg(value_deg - half_deg),
                          angle::rad_from_deg(value_deg + half_deg)};
    const std::string text = page(outcome, {}, false);
    const std::size_t at = text.find("\u00B15\u00B0</b></td><td>");
    REQUIRE(at != std::string::npos);
    const std::size_t from = text.find("<td>", at) + 4;
    return text.substr(from, text.find('<', from) - from);
  };
  CHECK(said(2.0, 1.0) == "within");
  CHECK(said(-4.5, 1.0) == "within, but the interval reaches outside");
  CHECK(said(-5.5, 1.0) == "outside, but the interval reaches inside");
  CHECK(said(9.0, 1.0) == "outside");
}

TEST_CASE("A page is made of an outcome that holds nothing", "[report]") {
  const std::string text = page(empty_outcome(), {}, false);
  CHECK(text.find("No axis could be measured") != std::string::npos);
  CHECK(text.find("<video") == std::string::npos);
  outcome::CaseOutcome bare;
  CHECK_FALSE(page(bare, {}, false).empty());
}

TEST_CASE("A run leaves one whole set of files", "[report]") {
  const Scratch scratch;
  outcome::CaseOutcome outcome = invented_outcome();
  outcome.stated.video.files = {scratch.path() / "recording.mp4"};
  write_invented_recording(outcome, outcome.stated.video.files[0]);
  const auto folder = scratch.path() / "out";

  write_outcome(outcome, folder);
  for (const char* name :
       {"timeline.csv", "timeline.csv-metadata.json", "report.html", "review.mp4", "result.json"})
    CHECK(std::filesystem::is_regular_file(folder / name));
  auto reader = video::Reader::open({folder / "review.mp4"});
  int pictures = 0;
  while (const auto frame = reader.next()) ++pictures;
  CHECK(pictures == 300);
  CHECK(reader.facts().codec == "h264");
  const std::string first = text_of(folder / "result.json");
  const std::string page_text = text_of(folder / "report.html");
  CHECK(page_text.find("data:image/jpeg;base64,") != std::string::npos);

  SECTION("an interrupted run leaves the earlier one untouched") {
    std::stop_source stop;
    ReportOptions options;
    options.cancel = stop.get_token();
    options.progress = [&stop](double share) {
      if (share > 0.3) stop.request_stop();
    };
    outcome.verdict = "another";
    CHECK_THROWS_AS(write_outcome(outcome, folder, options), Interrupted);
    CHECK(text_of(folder / "result.json") == first);
    CHECK(text_of(folder / "report.html") == page_text);
    int left = 0;
    for ([[maybe_unused]] const auto& entry : std::filesystem::directory_iterator(folder)) ++left;
    CHECK(left == 5);
  }
  SECTION("stills take the video's place and runs do not mix") {
    ReportOptions options;
    options.review = Review::Stills;
    write_outcome(outcome, folder, options);
    CHECK_FALSE(std::filesystem::exists(folder / "review.mp4"));
    int stills = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder / "review"))
      if (entry.path().extension() == ".png") ++stills;
    CHECK(stills == 4);  // two deciding frames, 0 s and 10 s
  }
  SECTION("the same outcome gives the same bytes") {
    const std::string video = text_of(folder / "review.mp4");
    write_outcome(outcome, folder);
    CHECK(text_of(folder / "report.html") == page_text);
    CHECK(text_of(folder / "review.mp4") == video);
  }
  SECTION("a recording that is gone costs the pictures only") {
    std::filesystem::remove(outcome.stated.video.files[0]);
    write_outcome(outcome, folder);
    CHECK(text_of(folder / "result.json") == first);
    CHECK_FALSE(std::filesystem::exists(folder / "review.mp4"));
    CHECK(text_of(folder / "report.html").find("could not be read a second time") !=
          std::string::npos);
  }
}
