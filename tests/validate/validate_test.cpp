// Scoring, tallies and the machinery that runs a suite.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>

#include "angle/angle.h"
#include "files/user_error.h"
#include "validate/clip_file.h"
#include "validate/run.h"
#include "validate/tally.h"
#include "validate/worst.h"

using namespace rhumb;
using namespace rhumb::validate;
using angle::rad_from_deg;
namespace fs = std::filesystem;

namespace {

struct Folder {
  fs::path path;
  Folder() {
    std::string name = (fs::temp_directory_path() / "rhumb-validate-XXXXXX").string();
    REQUIRE(mkdtemp(name.data()) != nullptr);
    path = name;
  }
  ~Folder() { fs::remove_all(path); }
};

std::string text_of(const fs::path& file) {
  std::ifstream in(file);
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

render::TruthRow truth_row(int frame, double axis_deg, double readable) {
  render::TruthRow t;
  t.frame = frame;
  t.time_s = 0.04 * frame;
  t.lens_in_eye = true;
  t.axis_rad = rad_from_deg(axis_deg);
  t.readable_a = t.readable_b = readable;
  return t;
}

outcome::TimelineRow row(int frame, double axis_deg, double half_deg, double confidence) {
  outcome::TimelineRow r;
  r.frame = frame;
  r.axis = outcome::Interval{rad_from_deg(axis_deg), rad_from_deg(axis_deg - half_deg),
                             rad_from_deg(axis_deg + half_deg)};
  r.half_width_50_rad = rad_from_deg(0.35 * half_deg);
  r.confidence = confidence;
  return r;
}

}  // namespace

TEST_CASE("Frames are scored by hand-made rows") {
  // Worked out by hand: errors 0.5, -1 (across the wrap from 179.5 to 178.5 + 180), 6; the third is
  // sure and wrong; frame 3 ought to be read and was not; frame 4 is not readable; frame 5 has no
  // lens.
  std::vector<render::TruthRow> truth;
  for (int i = 0; i < 5; ++i)
    truth.push_back(truth_row(i, i == 1 ? 0.5 : 20.0, i == 4 ? 0.1 : 1.0));
  outcome::CaseOutcome outcome;
  outcome.rows = {row(0, 20.5, 1.0, 0.9), row(1, 179.5, 0.8, 0.6), row(2, 26.0, 1.0, 0.95),
                  row(4, 20.2, 4.0, 0.2)};
  const ClipScore s = score(outcome, truth, ScoreRules{});
  CHECK(s.readable == 4);
  CHECK(s.given == 3);
  REQUIRE(s.errors_deg.size() == 3);
  CHECK(s.errors_deg[0] == Approx(0.5));
  CHECK(s.errors_deg[1] == Approx(-1.0));
  CHECK(s.errors_deg[2] == Approx(6.0));
  CHECK(s.intervals == 4);
  CHECK(s.covered == 2);  // 0 and 4
  CHECK(s.sure_wrong == 1);
  CHECK(s.no_lens == 0);
  CHECK_FALSE(s.final_given);
  CHECK(s.final_measurable);
}

TEST_CASE("An interval that crosses 180 holds an axis near 0") {
  outcome::CaseOutcome outcome;
  outcome.rows = {row(0, 179.6, 1.0, 0.9)};
  CHECK(score(outcome, {truth_row(0, 0.3, 1.0)}, ScoreRules{}).covered == 1);
  CHECK(score(outcome, {truth_row(0, 1.3, 1.0)}, ScoreRules{}).covered == 0);
}

TEST_CASE("An axis where no lens is counts against the program, but not about the change") {
  std::vector<render::TruthRow> truth;
  for (int i = 0; i < 50; ++i) {
    truth.push_back(truth_row(i, 20.0, 1.0));
    if (i < 30) {
      truth.back().lens_in_eye = false;
      truth.back().axis_rad.reset();
    }
  }
  outcome::CaseOutcome outcome;
  outcome.rows = {row(5, 20.0, 1.0, 0.5),
                  row(25, 20.0, 1.0, 0.5)};  // 1.0 s and 0.2 s before it goes in
  CHECK(score(outcome, truth, ScoreRules{}).no_lens == 1);
}

TEST_CASE("Quantiles are R's default ones") {
  // R: quantile(c(1, 2, 4, 8), c(.5, .95)) gives 3 and 7.4 (type 7, its documented default;
  // computed by hand).
  CHECK(median({8, 1, 4, 2}) == Approx(3.0));
  CHECK(quantile({8, 1, 4, 2}, 0.95) == Approx(7.4));
  CHECK(median({}) == 0.0);
}

TEST_CASE("Tallies pool frames by condition and find where the program stops") {
  std::vector<ClipScore> scores;
  for (const double level : {0.6, 0.3, 0.1}) {
    for (int i = 0; i < 2; ++i) {
      ClipScore s;
      s.conditions = {{"contrast", level,
                       level > 0.5   ? "0.6"
                       : level > 0.2 ? "0.3"
                                     : "0.1",
                       false}};
      s.readable = 10;
      s.given = level > 0.5 ? 10 : level > 0.2 ? 4 : 0;
      s.errors_deg.assign(static_cast<std::size_t>(s.given), level);
      s.confidence = {0.95, 0.2};
      s.within_1 = {1, 0};
      scores.push_back(s);
    }
  }
  const auto tallies = tally(scores);
  REQUIRE(tallies.size() == 4);
  CHECK(tallies[0].clips == 2);
  CHECK(tallies[0].given_share == Approx(1.0));
  CHECK(tallies[1].given_share == Approx(0.4));
  CHECK(tallies[1].error_median_deg == Approx(0.3));
  CHECK(tallies.back().clips == 6);
  const auto stops = limits(tallies);
  REQUIRE(stops.size() == 1);
  CHECK(stops[0].reached);
  CHECK(stops[0].label == "0.3");  // the mildest level that fails
  std::vector<const ClipScore*> all_scores;
  for (const ClipScore& s : scores) all_scores.push_back(&s);
  const auto bins = calibration(all_scores);
  REQUIRE(bins.size() == 2);
  CHECK(bins[1].stated == Approx(0.95));
  CHECK(bins[1].was == Approx(1.0));
  CHECK(bins[0].was == Approx(0.0));
  // By hand: half of the axes are 0.05 off (0.95 against 1), half 0.2 (0.2 against 0).
  CHECK(expected_calibration_error(bins) == Approx(0.125));
  CHECK(tallies.back().calibration_error == Approx(0.125));
}

TEST_CASE("Half intervals are those that the program states") {
  outcome::CaseOutcome outcome;
  outcome.rows = {row(0, 20.0, 1.0, 0.9), row(1, 20.0, 1.0, 0.9)};
  const ClipScore s =
      score(outcome, {truth_row(0, 20.3, 1.0), truth_row(1, 19.6, 1.0)}, ScoreRules{});
  CHECK(s.covered == 2);
  CHECK(s.covered_half == 1);
  CHECK(s.place[0] == Approx(0.3));
  CHECK(s.place[1] == Approx(-0.4));
}

TEST_CASE(
    "A final axis without marks in the eye is a false claim, and a missing one is the worst") {
  outcome::CaseOutcome outcome;
  outcome.final = outcome::FinalAxis{};
  render::TruthRow bare = truth_row(0, 20.0, 0.0);
  bare.axis_rad.reset();
  const ClipScore claimed = score(outcome, {bare}, ScoreRules{});
  CHECK(claimed.final_false);
  CHECK_FALSE(claimed.final_error_deg.has_value());
  outcome.final.reset();
  outcome.rows = {row(0, 20.0, 1.0, 0.9)};
  outcome.rows[0].axis.reset();
  outcome.rows[0].why_not = "blurred";
  const ClipScore silent = score(outcome, {truth_row(0, 20.0, 1.0)}, ScoreRules{});
  CHECK(silent.final_measurable);
  CHECK(silent.why_not == "blurred");
  CHECK(silent.worst_frame == 0);
  CHECK_FALSE(silent.worst_axis_deg.has_value());
  CHECK(worst_reason(silent).find("No final axis") != std::string::npos);
  std::vector<ClipScore> scores{ClipScore{}, silent, claimed};
  scores[0].final_error_deg = 2.0;
  const auto worst = worst_clips(scores, 2);
  REQUIRE(worst.size() == 2);
  CHECK(worst[0] == &scores[2]);
  CHECK(worst[1] == &scores[1]);
}

TEST_CASE("Seeds for reports and for tuning never meet, and levels of a group share their eyes") {
  SuiteOptions report;
  SuiteOptions tuning;
  report.clips = tuning.clips = 40;
  tuning.seeds = Seeds::Tuning;
  std::set<std::uint64_t> reported;
  std::set<std::string> names;
  for (const Clip& c : make_suite("conditions", report)) {
    reported.insert(c.scene.seed);
    CHECK(names.insert(c.name).second);
  }
  report.draw = 1;
  for (const Clip& c : make_suite("fresh", report)) CHECK(reported.insert(c.scene.seed).second);
  for (const std::uint64_t draw : {0, 999}) {
    tuning.draw = draw;
    for (const char* suite : {"conditions", "fresh"})
      for (const Clip& c : make_suite(suite, tuning)) CHECK(reported.count(c.scene.seed) == 0);
  }
  const auto blur = make_suite("blur", SuiteOptions{1});
  REQUIRE(blur.size() == 5);
  for (const Clip& c : blur) {
    CHECK(c.scene.seed == blur[0].scene.seed);
    CHECK(c.scene.plan.axis_rad == blur[0].scene.plan.axis_rad);
  }
  CHECK(blur[0].scene.microscope.defocus_mm != blur[4].scene.microscope.defocus_mm);
  // All together: every level of every group that takes part is there, and every scenario.
  std::map<std::string, std::set<std::string>> seen;
  SuiteOptions fresh;
  fresh.clips = 68;
  const auto mixed = make_suite("fresh", fresh);
  CHECK(mixed.size() == 68);
  for (const Clip& c : mixed)
    for (const Condition& condition : c.conditions) seen[condition.group].insert(condition.label);
  CHECK(seen.size() == 9);
  CHECK(seen["scenario"].size() == 18);
  CHECK(seen["reference"].size() == 3);
  for (const auto& [group, levels] : seen) CHECK(levels.size() >= 3);
  CHECK(make_suite("nonsense", SuiteOptions{}).empty());
}

TEST_CASE("In eyes without a lens none is put in, and a previous one is taken out") {
  const auto alone = make_suite("no-lens", SuiteOptions{2});
  REQUIRE(alone.size() == 10);
  for (const Clip& c : alone) {
    const bool usual = c.conditions[0].usual;
    CHECK(c.scene.has_lens == usual);
    CHECK(c.scene.negative == !usual);
    for (const render::Step& step : c.scene.steps) CHECK((usual || step.act == render::Act::Work));
  }
  SuiteOptions fresh;
  fresh.clips = 200;
  int exchanges = 0;
  for (const Clip& c : make_suite("fresh", fresh)) {
    if (c.scene.negative_kind != "no-lens") continue;
    CHECK_FALSE(c.scene.has_lens);
    if (!c.scene.has_previous) continue;
    ++exchanges;
    REQUIRE(c.scene.steps.size() == 3);
    CHECK(c.scene.steps[0].act == render::Act::Remove);
    CHECK(c.scene.steps[1].at_s > c.scene.steps[0].at_s + c.scene.steps[0].seconds);
    CHECK(c.scene.steps[2].at_s + c.scene.steps[2].seconds < c.scene.seconds);
  }
  CHECK(exchanges > 0);
}

TEST_CASE("A quick suite runs, writes its pages, and goes on where it was stopped") {
  const Folder folder;
  const auto clips = make_suite("quick", SuiteOptions{});
  REQUIRE(clips.size() == 2);
  RunOptions options;
  options.workers = 2;
  const auto scores = run_suite(clips, folder.path, options);
  REQUIRE(scores.size() == 2);
  CHECK(scores[0].frames == 30);
  CHECK(fs::exists(folder.path / "clips" / "quick-1.json"));
  CHECK_FALSE(fs::exists(folder.path / "work"));
  PageFacts facts;
  facts.suite = "quick";
  facts.command = "rhumb validate quick --out DIR";
  facts.seeds = "No threshold was set on these seeds.";
  facts.document = folder.path / "docs" / "accuracy.md";
  write_pages(scores, clips, facts, folder.path);
  CHECK(text_of(folder.path / "report.html").find("</svg>") != std::string::npos);
  CHECK(text_of(folder.path / "accuracy.md").find("| 0.6 ") != std::string::npos);
  CHECK(fs::exists(folder.path / "docs" / "images" / "validation-reliability.svg"));
  CHECK(fs::exists(folder.path / "docs" / "images" / "validation-worst-1.jpg"));
  // What people wrote round the marked part stays; the part itself is written anew.
  const std::string part = text_of(facts.document);
  std::ofstream(facts.document) << "before\n\n" + part + "\nafter\n";
  write_pages(scores, clips, facts, folder.path);
  CHECK(text_of(facts.document) == "before\n\n" + part + "\nafter\n");
  std::ofstream(facts.document) << "<!-- rhumb validate: begin -->\n";
  CHECK_THROWS_AS(write_pages(scores, clips, facts, folder.path), UserError);
  const std::string table = text_of(folder.path / "clips.csv");
  CHECK(std::count(table.begin(), table.end(), '\n') == 3);

  // Mark a stored score: the second run must take it as it is, a run of another build must not.
  const auto key_file = folder.path / "clips" / "quick-1.json";
  std::string stored = text_of(key_file);
  const auto at = stored.find("\"seconds\":");
  REQUIRE(at != std::string::npos);
  std::ofstream(key_file) << stored.substr(0, at) << "\"seconds\":12345.0}\n";
  CHECK(run_suite(clips, folder.path, options)[0].seconds == 12345.0);
  options.build = "another";
  CHECK(run_suite(clips, folder.path, options)[0].seconds < 12345.0);

  std::stop_source stop;
  stop.request_stop();
  options.build = "third";
  options.cancel = stop.get_token();
  CHECK_THROWS_AS(run_suite(clips, folder.path, options), Interrupted);
}

TEST_CASE("A stored score that cannot be read counts as absent") {
  const Folder folder;
  ClipScore s;
  s.clip = "a";
  s.errors_deg = {0.25, -1.5};
  write_clip(folder.path / "a.json", "key", s);
  CHECK(read_clip(folder.path / "a.json", "key")->errors_deg == s.errors_deg);
  CHECK_FALSE(read_clip(folder.path / "a.json", "other"));
  CHECK_FALSE(read_clip(folder.path / "none.json", "key"));
  std::ofstream(folder.path / "b.json") << "{\"key\":\"key\"";
  CHECK_FALSE(read_clip(folder.path / "b.json", "key"));
}
