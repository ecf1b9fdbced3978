#include "validate/page_texts.h"

namespace rhumb::validate {

const char* const page_text = R"(<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Validation on rendered eyes</title><style>
body{font:16px/1.5 system-ui,sans-serif;color:#1c2430;max-width:76rem;margin:2rem auto;padding:0 1rem}
h2{margin-top:2.2rem}.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.84rem;margin:.6rem 0}
td,th{padding:.2rem .6rem;text-align:right;border-bottom:1px solid #d9dde3;vertical-align:bottom}
th:first-child,td:first-child{text-align:left}
.plots{display:flex;flex-wrap:wrap;gap:1rem}.plots svg{max-width:100%;height:auto}
figure{margin:1rem 0}figure img{max-width:100%;display:block}
.caution{border-left:4px solid #8a3b12;padding-left:.8rem}code{background:#f0f2f5;padding:0 .3em}
details{font-size:.84rem;color:#445}
</style></head><body>
<h1>Validation on rendered eyes</h1>
<p class="caution">{{caution}}</p>
<p>Suite <b>{{suite}}</b>: {{clips}} clips, {{frames}} pictures, of which {{readable}} ought to be read. {{seeds}}
Made by <code>{{command}}</code>, version {{version}}, build {{build}}. The eyes are rendered: real recordings are worse.</p>
<table><tr><th>over everything</th><th></th></tr>
<tr><td>readable frames with an axis</td><td>{{all_given}} %</td></tr>
<tr><td>error of those, median / 95th percentile</td><td>{{all_median}} / {{all_p95}} degrees</td></tr>
<tr><td>95 % intervals that hold the truth</td><td>{{all_coverage}} % of {{intervals}}</td></tr>
<tr><td>50 % intervals that hold the truth</td><td>{{all_coverage_half}} %</td></tr>
<tr><td>expected calibration error of the confidence</td><td>{{all_ece}}</td></tr>
<tr><td>false claims (frames)</td><td>{{all_false}}</td></tr>
<tr><td>final axis given, where one could be read</td><td>{{all_finals}}</td></tr>
<tr><td>error of the final axis, median / most</td><td>{{all_final_median}} / {{all_final_max}} degrees</td></tr>
<tr><td>final intervals that hold the truth</td><td>{{all_finals_covered}}</td></tr>
<tr><td>false final claims</td><td>{{all_finals_false}}</td></tr>
<tr><td>eye rotation, error at the median / 95th percentile</td><td>{{all_rotation}} / {{all_rotation_p95}} degrees</td></tr>
</table>
<h2>Where the program stops giving an axis</h2>
<table><tr><th>condition</th><th>an axis in fewer than half of the readable frames</th></tr>
{{#limits}}<tr><td>{{group}}</td><td>{{words}}</td></tr>{{/limits}}</table>
{{#groups}}<h2>By {{name}}</h2>
<div class="plots">{{{plot}}}{{{cover_plot}}}</div>
<div class="wide"><table><tr><th>level</th><th>clips</th><th>readable frames</th><th>with an axis %</th><th>median deg</th>
<th>P95 deg</th><th>95 % hold %</th><th>50 % hold %</th><th>half-width deg</th><th>calibration error</th><th>false claims</th>
<th>finals given</th><th>final most deg</th><th>rotation median / P95 deg</th></tr>
{{#rows}}<tr><td>{{level}}</td><td>{{clips}}</td><td>{{readable}}</td><td>{{given}}</td><td>{{median}}</td><td>{{p95}}</td>
<td>{{coverage}}</td><td>{{coverage_half}}</td><td>{{half}}</td><td>{{ece}}</td><td>{{false}}</td><td>{{finals}}</td>
<td>{{final_max}}</td><td>{{rotation}} / {{rotation_p95}}</td></tr>{{/rows}}</table></div>
<details><summary>The clips behind each figure</summary>{{#rows}}<p><b>{{level}}</b>: {{names}}</p>{{/rows}}</details>
{{/groups}}<h2>Stated confidence</h2>
<div class="plots">{{{reliability}}}</div>
<table><tr><th>stated</th><th>axes</th><th>mean stated</th><th>truly within 1 degree</th></tr>
{{#bins}}<tr><td>{{range}}</td><td>{{count}}</td><td>{{stated}}</td><td>{{was}}</td></tr>{{/bins}}</table>
<h2>The three worst clips</h2>
{{#worst}}<figure><img src="images/{{file}}" alt="A frame of {{clip}}"><figcaption><b>{{clip}}</b>: {{reason}}</figcaption></figure>
{{/worst}}<p>White strokes: the true axis. Amber strokes further out: the stated one, where one was stated.</p>
<h2>How to read this</h2>
<p>Bars: share of readable frames with an axis. Dots: median error; whiskers to the 95th percentile. A frame ought to be
read when at least half of the marks show by the renderer's own count. The 50 % interval is the one that the program
states. False claims: axes without marks in the eye, and axes
more than 3 degrees off with a half-width under 1.5. Calibration error: mean distance between stated and true share over
ten bins, weighted by their counts. Rotation: one constant a clip taken off. Tables: clips.csv, conditions.csv,
calibration.csv.</p></body></html>
)";

const char* const part_text = R"(## On rendered eyes

{{{caution}}}

Written by `{{{command}}}`, version {{version}}, build {{{build}}}: {{clips}} clips, {{frames}} pictures, of which
{{readable}} ought to be read. {{{seeds}}} The eyes are rendered (rendering.md); real recordings are worse.

| over everything | |
| --- | --- |
| readable frames with an axis | {{{all_given}}} % |
| error of those, median / 95th percentile | {{{all_median}}} / {{{all_p95}}} degrees |
| 95 % intervals that hold the truth | {{{all_coverage}}} % of {{intervals}} |
| 50 % intervals that hold the truth | {{{all_coverage_half}}} % |
| expected calibration error of the confidence, ten bins | {{{all_ece}}} |
| false claims (frames) | {{all_false}} |
| final axis given, where one could be read | {{{all_finals}}} |
| error of the final axis, median / most | {{{all_final_median}}} / {{{all_final_max}}} degrees |
| final intervals that hold the truth | {{{all_finals_covered}}} |
| false final claims | {{all_finals_false}} |
| eye rotation, error at the median / 95th percentile | {{{all_rotation}}} / {{{all_rotation_p95}}} degrees |

| condition | the program gives an axis in fewer than half of the readable frames |
| --- | --- |
{{#limits}}| {{{group}}} | {{{words}}} |
{{/limits}}{{#groups}}
### By {{{name}}}

![Error and share of frames with an axis by {{{name}}}](images/{{{file}}}-error.svg)
![Coverage of intervals by {{{name}}}](images/{{{file}}}-coverage.svg)

| level | clips | readable frames | with an axis % | median deg | P95 deg | 95 % hold % | 50 % hold % | half-width deg | calibration error | false claims | finals given | final most deg | rotation median / P95 deg |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
{{#rows}}| {{{level}}} | {{clips}} | {{readable}} | {{{given}}} | {{{median}}} | {{{p95}}} | {{{coverage}}} | {{{coverage_half}}} | {{{half}}} | {{{ece}}} | {{false}} | {{{finals}}} | {{{final_max}}} | {{{rotation}}} / {{{rotation_p95}}} |
{{/rows}}{{/groups}}
### Stated confidence

![Reliability diagram](images/validation-reliability.svg)

| stated | axes | mean stated | truly within 1 degree |
| --- | --- | --- | --- |
{{#bins}}| {{range}} | {{count}} | {{stated}} | {{was}} |
{{/bins}}
### The three worst clips

White strokes: the true axis. Amber strokes further out: the stated one, where one was stated.
{{#worst}}
![A frame of {{{clip}}}](images/{{{file}}})

**{{{clip}}}**: {{{reason}}}
{{/worst}})";

}  // namespace rhumb::validate
