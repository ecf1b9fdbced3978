#include "report/page.h"

#include <fmt/format.h>

#include <initializer_list>
#include <nlohmann/json.hpp>

#include "report/embedded.h"
#include "report/hash_source.h"
#include "report/template.h"

namespace rhumb::report {
namespace {

std::string joined(std::initializer_list<std::string_view> parts) {
  std::string text;
  for (const std::string_view part : parts) text += part;
  return text;
}

}  // namespace

std::string page(const outcome::CaseOutcome& outcome, const StillSet& stills, bool has_video,
                 const std::string& stills_remark) {
  const std::string charts(embedded::uPlot_iife_min_js());
  const std::string script = joined(
      {embedded::player_js(), embedded::chart_js(), embedded::correct_js(), embedded::start_js()});
  const std::string chart_style(embedded::uPlot_min_css());
  const std::string style(embedded::page_css());
  nlohmann::ordered_json values = page_values(outcome, stills, has_video, stills_remark);
  values["script_hashes"] = hash_source(charts) + " " + hash_source(script);
  values["style_hashes"] = hash_source(chart_style) + " " + hash_source(style);
  values["chart_library"] = charts;
  values["chart_style"] = chart_style;
  values["script"] = script;
  values["style"] = style;
  values["data"] = json_for_script(page_data(outcome));
  return fill(embedded::page_html(), values);
}

}  // namespace rhumb::report
