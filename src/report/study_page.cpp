// The page of a study.
#include <fmt/core.h>

#include <cmath>

#include "outcome/caution.h"
#include "report/degrees.h"
#include "report/embedded.h"
#include "report/hash_source.h"
#include "report/study_values.h"
#include "report/template.h"

namespace rhumb::report {
namespace {

using statistics::Estimate;
using study::Study;

std::string plain(double value, int decimals = 2) {
  return std::isfinite(value) ? fmt::format("{:.{}f}", value, decimals) : std::string("–");
}

std::string signed_estimate(const std::optional<Estimate>& e) {
  if (!e) return "–";
  return fmt::format("{} ({} to {})", signed_text(e->value, 2), signed_text(e->low, 2),
                     signed_text(e->high, 2));
}

std::string percent(const std::optional<Estimate>& e) {
  if (!e) return "–";
  return fmt::format("{:.1f} ({:.1f} to {:.1f})", 100 * e->value, 100 * e->low, 100 * e->high);
}

// Mean and, from two values on, its standard deviation.
std::string mean_and_sd(double mean, double sd) {
  return std::isfinite(sd) ? plain(mean) + " (" + plain(sd) + ")" : plain(mean);
}

// The step after the first visit is the rotation since it: the page shows it once.
bool shown_already(const study::Interval& step, const std::vector<study::Interval>& all) {
  for (const auto& i : all)
    if (i.since_first && !step.since_first && i.from == step.from && i.to == step.to &&
        i.eyes == step.eyes)
      return true;
  return false;
}

Json interval_row(const study::Interval& i) {
  Json within = Json::array();
  for (const auto& w : i.within) within.push_back(percent(w.share));
  return {{"from", i.from},
          {"to", i.to},
          {"days", i.median_days ? fmt::format("{:g}", *i.median_days) : std::string("–")},
          {"measured", i.rotations_deg.size()},
          {"eyes", i.eyes},
          {"mean", mean_and_sd(i.mean_absolute_deg, i.sd_absolute_deg)},
          {"median", plain(i.median_absolute_deg)},
          {"max", plain(i.max_absolute_deg)},
          {"signed", signed_estimate(i.mean_signed)},
          {"within", std::move(within)},
          {"ccw", i.counter_clockwise},
          {"cw", i.clockwise},
          {"undecided", i.undecided},
          {"ccw_share", percent(i.counter_clockwise_share)}};
}

// A sentence for the longest interval since the first visit that has a number.
std::string headline(const Study& study) {
  const study::Interval* last = nullptr;
  for (const auto& i : study.intervals)
    if (i.since_first && !i.rotations_deg.empty()) last = &i;
  if (last == nullptr) return "No rotation between visits could be measured.";
  return fmt::format(
      "From {} to {} the lens turned by {}° on average (SD {}, median {}, at most {}) in {} eyes; "
      "{} of {} "
      "turned by at most 5°.",
      last->from, last->to, plain(last->mean_absolute_deg), plain(last->sd_absolute_deg),
      plain(last->median_absolute_deg), plain(last->max_absolute_deg), last->rotations_deg.size(),
      last->within[0].eyes, last->rotations_deg.size());
}

std::string repeatability(const study::Repeats& r) {
  if (!r.result)
    return "No visit has two photographs that could both be read, so nothing is known of it here.";
  const auto& sd = r.result->within_sd;
  const auto& c = r.result->coefficient;
  return fmt::format(
      "{} photographs of {} visits: standard deviation within a visit {:.2f}° ({:.2f} to {:.2f}); "
      "two "
      "photographs of one visit differ by less than {:.2f}° ({:.2f} to {:.2f}) in 95 % of cases.",
      r.photographs, r.visits, sd.value, sd.low, sd.high, c.value, c.low, c.high);
}

Json missing(const Study& study) {
  Json rows = Json::array();
  for (const auto& eye : study.eyes) {
    if (!eye.failure.empty()) {
      rows.push_back({{"id", eye.id}, {"visit", "all"}, {"why", eye.failure}});
      continue;
    }
    for (const auto& visit : eye.visits)
      if (!visit.axis)
        rows.push_back({{"id", eye.id}, {"visit", visit.label}, {"why", visit.why_not}});
  }
  return rows;
}

Json agreement_rows(const Study& study) {
  Json rows = Json::array();
  for (const auto& a : study.agreement) {
    const auto of = [&](Estimate statistics::BlandAltman::*which) {
      return a.limits ? signed_estimate((*a.limits).*which) : std::string("–");
    };
    rows.push_back({{"reader", a.reader},
                    {"of", a.is_drift ? "drift" : "axis"},
                    {"visit", a.visit},
                    {"n", a.points.size()},
                    {"bias", of(&statistics::BlandAltman::bias)},
                    {"lower", of(&statistics::BlandAltman::lower_limit)},
                    {"upper", of(&statistics::BlandAltman::upper_limit)}});
  }
  return rows;
}

}  // namespace

std::string study_page(const Study& study, const outcome::RunRecord& run) {
  Json values;
  values["caution"] = outcome::caution;
  values["eyes"] = study.eyes.size();
  values["rotations"] = study.rotations;
  values["visits"] = study.visits_after_first;
  values["headline"] = headline(study);
  values["bounds"] = Json::array();
  for (const double bound : study::bounds_deg)
    values["bounds"].push_back(fmt::format("{:g}", bound));
  values["intervals"] = Json::array();
  for (const auto& i : study.intervals)
    if (!shown_already(i, study.intervals)) values["intervals"].push_back(interval_row(i));
  values["criteria"] = Json::array();
  for (const auto& c : study.criteria)
    values["criteria"].push_back({{"name", c.name},
                                  {"verdict", c.verdict},
                                  {"text", c.text},
                                  {"over", c.over},
                                  {"without", c.without}});
  values["agreement"] = agreement_rows(study);
  values["has_agreement"] = !study.agreement.empty();
  values["repeatability"] = repeatability(study.repeats);
  values["missing"] = missing(study);
  values["has_missing"] = !values["missing"].empty();
  values["version"] = run.program_version;
  values["commit"] = run.commit;
  const std::string charts(embedded::uPlot_iife_min_js());
  const std::string script(embedded::study_js());
  const std::string chart_style(embedded::uPlot_min_css());
  const std::string style = std::string(embedded::page_css()) + std::string(embedded::study_css());
  values["script_hashes"] = hash_source(charts) + " " + hash_source(script);
  values["style_hashes"] = hash_source(chart_style) + " " + hash_source(style);
  values["chart_library"] = charts;
  values["chart_style"] = chart_style;
  values["script"] = script;
  values["style"] = style;
  values["data"] = json_for_script(study_value(study, run));
  return fill(embedded::study_html(), values);
}

}  // namespace rhumb::report
