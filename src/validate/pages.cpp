// The validation's tables and pages.
#include <fmt/core.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "files/csv_field.h"
#include "files/partial_file.h"
#include "outcome/caution.h"
#include "report/template.h"
#include "validate/run.h"
#include "validate/tally.h"

namespace rhumb::validate {
namespace {

using Json = nlohmann::ordered_json;

std::string clips_csv(const std::vector<ClipScore>& scores) {
  std::string t =
      "clip,group,level,unit,seed,frames,readable_frames,given_frames,error_median_deg,error_p95_"
      "deg,intervals,"
      "covered,half_width_deg,sure_wrong,axes_without_lens,final_given,final_measurable,final_"
      "error_deg,"
      "final_covered,rotation_median_deg,analysis_s\n";
  for (const ClipScore& s : scores) {
    std::vector<double> errors;
    std::vector<double> rotations;
    for (const double e : s.errors_deg) errors.push_back(std::abs(e));
    for (const double e : s.rotation_errors_deg) rotations.push_back(std::abs(e));
    t += fmt::format("{},{},{:g},{},{},{},{},{},", files::csv_field(s.clip), s.group, s.level,
                     s.unit, s.seed, s.frames, s.readable, s.given);
    t += errors.empty() ? ",,"
                        : fmt::format("{:.4f},{:.4f},", median(errors), quantile(errors, 0.95));
    t += fmt::format(
        "{},{},{:.4f},{},{},{},{},{},{},{:.4f},{:.2f}\n", s.intervals, s.covered, s.half_width_deg,
        s.sure_wrong, s.no_lens, s.final_given ? 1 : 0, s.final_measurable ? 1 : 0,
        s.final_given ? fmt::format("{:.4f}", s.final_error_deg) : "",
        s.final_given ? (s.final_covered ? "1" : "0") : "", median(rotations), s.seconds);
  }
  return t;
}

std::string conditions_csv(const std::vector<Tally>& tallies) {
  std::string t =
      "group,level,unit,clips,frames,readable_frames,given_share,error_median_deg,error_p95_deg,"
      "error_max_deg,"
      "within_1_share,intervals,coverage,half_width_deg,sure_wrong,axes_without_lens,rotation_"
      "median_deg,"
      "finals_measurable,finals_given,final_median_deg,final_max_deg,finals_covered\n";
  for (const Tally& a : tallies)
    t += fmt::format(
        "{},{},{},{},{},{},{:.4f},{:.4f},{:.4f},{:.4f},{:.4f},{},{:.4f},{:.4f},{},{},{:.4f},{},{},{"
        ":.4f},{:.4f},{}\n",
        a.group, a.group == "all" ? "" : fmt::format("{:g}", a.level), a.unit, a.clips, a.frames,
        a.readable, a.given_share, a.error_median_deg, a.error_p95_deg, a.error_max_deg,
        a.within_1_share, a.intervals, a.coverage, a.half_width_deg, a.sure_wrong, a.no_lens,
        a.rotation_median_deg, a.finals_measurable, a.finals_given, a.final_median_deg,
        a.final_max_deg, a.finals_covered);
  return t;
}

std::string calibration_csv(const std::vector<CalibrationBin>& bins) {
  std::string t = "confidence_low,confidence_high,axes,mean_confidence,share_within_1_deg\n";
  for (const CalibrationBin& b : bins)
    t += fmt::format("{:g},{:g},{},{:.4f},{:.4f}\n", b.low, b.high, b.count, b.stated, b.was);
  return t;
}

// A plot of one group: bars for the share of frames with an axis, a line for the median error,
// whiskers to P95.
std::string plot(const std::vector<const Tally*>& levels) {
  constexpr double width = 420;
  constexpr double height = 190;
  constexpr double left = 44;
  constexpr double bottom = 150;
  constexpr double top = 14;
  double most = 0.5;
  for (const Tally* t : levels) most = std::max(most, t->given > 0 ? t->error_p95_deg : 0.0);
  const double step = (width - left - 44) / static_cast<double>(levels.size());
  const auto y_of = [&](double deg) { return bottom - (bottom - top) * deg / most; };
  std::string s = fmt::format("<svg viewBox=\"0 0 {} {}\" role=\"img\">", width, height);
  s += fmt::format(
      "<text x=\"4\" y=\"10\">error, deg</text><text x=\"{}\" y=\"10\" text-anchor=\"end\">frames "
      "with an axis</text>",
      width);
  for (const double part : {0.0, 0.5, 1.0})
    s += fmt::format(
        "<line class=\"grid\" x1=\"{0}\" x2=\"{1}\" y1=\"{2:.1f}\" y2=\"{2:.1f}\"/><text x=\"{3}\" "
        "y=\"{4:.1f}\" text-anchor=\"end\">{5:.2g}</text>"
        "<text x=\"{6}\" y=\"{4:.1f}\">{7:.0f} %</text>",
        left, width - 40, y_of(part * most), left - 4, y_of(part * most) + 4, part * most,
        width - 36, 100 * part);
  std::string line;
  for (std::size_t i = 0; i < levels.size(); ++i) {
    const Tally& t = *levels[i];
    const double x = left + step * (static_cast<double>(i) + 0.5);
    const double bar = (bottom - top) * t.given_share;
    s += fmt::format(
        "<rect class=\"given\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>",
        x - 0.3 * step, bottom - bar, 0.6 * step, bar);
    if (t.given > 0) {
      s += fmt::format(
          "<line class=\"error\" x1=\"{0:.1f}\" x2=\"{0:.1f}\" y1=\"{1:.1f}\" "
          "y2=\"{2:.1f}\"/><circle class=\"error\" cx=\"{0:.1f}\" cy=\"{1:.1f}\" r=\"3.5\"/>",
          x, y_of(t.error_median_deg), y_of(t.error_p95_deg));
      line += fmt::format("{:.1f},{:.1f} ", x, y_of(t.error_median_deg));
    }
    s += fmt::format(
        "<text x=\"{:.1f}\" y=\"{}\" text-anchor=\"middle\">{:g}</text><text class=\"n\" "
        "x=\"{:.1f}\" y=\"{}\" text-anchor=\"middle\">{} clips</text>",
        x, bottom + 15, t.level, x, bottom + 30, t.clips);
  }
  return s + "<polyline class=\"error\" points=\"" + line + "\"/></svg>";
}

Json row_of(const Tally& t) {
  return {{"level", fmt::format("{:g} {}", t.level, t.unit)},
          {"clips", t.clips},
          {"readable", t.readable},
          {"given", fmt::format("{:.1f}", 100 * t.given_share)},
          {"median", t.given > 0 ? fmt::format("{:.2f}", t.error_median_deg) : "none"},
          {"p95", t.given > 0 ? fmt::format("{:.2f}", t.error_p95_deg) : "none"},
          {"coverage", t.intervals > 0 ? fmt::format("{:.1f}", 100 * t.coverage) : "none"},
          {"half", t.intervals > 0 ? fmt::format("{:.2f}", t.half_width_deg) : "none"},
          {"sure", t.sure_wrong},
          {"finals", fmt::format("{} of {}", t.finals_given, t.finals_measurable)},
          {"final_max", t.finals_given > 0 ? fmt::format("{:.2f}", t.final_max_deg) : "none"}};
}

std::string limit_words(const Limit& l) {
  if (!l.reached) return "at no level of this suite";
  return fmt::format("from {:g} {}", l.level, l.unit);
}

const char* page = R"(<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Validation on rendered eyes</title><style>
body{font:16px/1.5 system-ui,sans-serif;color:#1c2430;max-width:64rem;margin:2rem auto;padding:0 1rem}
h2{margin-top:2.2rem}table{border-collapse:collapse;font-size:.88rem;margin:.6rem 0}
td,th{padding:.2rem .7rem;text-align:right;border-bottom:1px solid #d9dde3}th:first-child,td:first-child{text-align:left}
svg{width:100%;max-width:32rem;font:11px system-ui,sans-serif;fill:#445}.grid{stroke:#d9dde3}
.given{fill:#c9d6de}.error{stroke:#8a3b12;fill:#8a3b12}polyline.error{fill:none;stroke-width:1.5}.n{fill:#7a8494}
.caution{border-left:4px solid #8a3b12;padding-left:.8rem}code{background:#f0f2f5;padding:0 .3em}
</style></head><body>
<h1>Validation on rendered eyes</h1>
<p class="caution">{{caution}}</p>
<p>Suite <b>{{suite}}</b>: {{clips}} clips, {{frames}} pictures, of which {{readable}} ought to be read. {{seeds}}
Made by <code>{{command}}</code>, version {{version}}. The eyes are rendered: real recordings are worse.</p>
<p>Over everything: an axis in {{all_given}} % of the frames that ought to be read, error {{all_median}} degrees at the
median and {{all_p95}} at the 95th percentile; 95 % intervals hold {{all_coverage}} %; {{all_sure}} frames off by more
than 3 degrees with a half-width under 1.5; final axis in {{all_finals}} clips, at most {{all_final_max}} degrees off.</p>
<h2>Where the program stops giving an axis</h2>
<table><tr><th>condition</th><th>an axis in fewer than half of the readable frames</th></tr>
{{#limits}}<tr><td>{{group}}</td><td>{{words}}</td></tr>{{/limits}}</table>
{{#groups}}<h2>{{name}}</h2>
{{{plot}}}
<table><tr><th>level</th><th>clips</th><th>readable frames</th><th>given %</th><th>median deg</th><th>P95 deg</th>
<th>intervals hold %</th><th>half-width deg</th><th>sure but wrong</th><th>final given</th><th>final max deg</th></tr>
{{#rows}}<tr><td>{{level}}</td><td>{{clips}}</td><td>{{readable}}</td><td>{{given}}</td><td>{{median}}</td><td>{{p95}}</td>
<td>{{coverage}}</td><td>{{half}}</td><td>{{sure}}</td><td>{{finals}}</td><td>{{final_max}}</td></tr>{{/rows}}</table>
{{/groups}}<h2>Stated confidence</h2>
<table><tr><th>stated</th><th>axes</th><th>mean stated</th><th>truly within 1 degree</th></tr>
{{#bins}}<tr><td>{{range}}</td><td>{{count}}</td><td>{{stated}}</td><td>{{was}}</td></tr>{{/bins}}</table>
<p>Bars: share of readable frames with an axis. Dots: median error; whiskers to the 95th percentile. A frame ought to be
read when at least half of the marks show by the renderer's own count. Tables: clips.csv, conditions.csv,
calibration.csv.</p></body></html>
)";

const char* digest = R"(# Accuracy on rendered eyes

{{{caution}}}

Made by `{{{command}}}`, version {{version}}, suite {{suite}}: {{clips}} clips, {{frames}} pictures, of which {{readable}}
ought to be read. {{{seeds}}} The eyes are rendered (docs/rendering.md); real recordings are worse.

Over everything: an axis in {{all_given}} % of the frames that ought to be read, error {{all_median}} degrees at the median
and {{all_p95}} at the 95th percentile; 95 % intervals hold {{all_coverage}} %; {{all_sure}} frames off by more than 3 degrees
with a half-width under 1.5; final axis in {{all_finals}} clips, at most {{all_final_max}} degrees off.

| condition | an axis in fewer than half of the readable frames |
| --- | --- |
{{#limits}}| {{group}} | {{words}} |
{{/limits}}{{#groups}}
## By {{name}}

| level | clips | readable frames | given % | median deg | P95 deg | intervals hold % | half-width deg | sure but wrong | final given | final max deg |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
{{#rows}}| {{level}} | {{clips}} | {{readable}} | {{given}} | {{median}} | {{p95}} | {{coverage}} | {{half}} | {{sure}} | {{finals}} | {{final_max}} |
{{/rows}}{{/groups}}
## Stated confidence

| stated | axes | mean stated | truly within 1 degree |
| --- | --- | --- | --- |
{{#bins}}| {{range}} | {{count}} | {{stated}} | {{was}} |
{{/bins}}
)";

Json values_of(const std::vector<ClipScore>& scores, const std::vector<Tally>& tallies,
               const std::vector<CalibrationBin>& bins, const PageFacts& facts) {
  const Tally& everything = tallies.back();
  Json v = {{"caution", outcome::caution}, {"suite", facts.suite},
            {"command", facts.command},    {"seeds", facts.seeds},
            {"version", RHUMB_VERSION},    {"clips", scores.size()},
            {"frames", everything.frames}, {"readable", everything.readable}};
  const Json over_all = row_of(everything);
  for (const auto& [name, value] : over_all.items()) v["all_" + name] = value;
  v["limits"] = Json::array();
  for (const Limit& l : limits(tallies))
    v["limits"].push_back({{"group", l.group}, {"words", limit_words(l)}});
  v["groups"] = Json::array();
  for (std::size_t i = 0; i + 1 < tallies.size();) {
    std::vector<const Tally*> levels;
    Json rows = Json::array();
    std::size_t j = i;
    for (; j + 1 < tallies.size() && tallies[j].group == tallies[i].group; ++j) {
      levels.push_back(&tallies[j]);
      rows.push_back(row_of(tallies[j]));
    }
    v["groups"].push_back({{"name", tallies[i].group}, {"plot", plot(levels)}, {"rows", rows}});
    i = j;
  }
  v["bins"] = Json::array();
  for (const CalibrationBin& b : bins)
    v["bins"].push_back({{"range", fmt::format("{:g} to {:g}", b.low, b.high)},
                         {"count", b.count},
                         {"stated", fmt::format("{:.3f}", b.stated)},
                         {"was", fmt::format("{:.3f}", b.was)}});
  return v;
}

}  // namespace

void write_pages(const std::vector<ClipScore>& scores, const PageFacts& facts,
                 const std::filesystem::path& folder) {
  const std::vector<Tally> tallies = tally(scores);
  const std::vector<CalibrationBin> bins = calibration(scores);
  const Json values = values_of(scores, tallies, bins, facts);
  files::write_whole(folder / "clips.csv", clips_csv(scores));
  files::write_whole(folder / "conditions.csv", conditions_csv(tallies));
  files::write_whole(folder / "calibration.csv", calibration_csv(bins));
  files::write_whole(folder / "accuracy.md", report::fill(digest, values));
  files::write_whole(folder / "report.html", report::fill(page, values));
}

}  // namespace rhumb::validate
