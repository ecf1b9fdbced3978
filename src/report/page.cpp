#include "report/page.h"

#include <fmt/format.h>

#include <initializer_list>
#include <nlohmann/json.hpp>
#include <vector>

#include "report/base64.h"
#include "report/embedded.h"
#include "report/template.h"
#include "video/digest.h"

namespace rhumb::report {
namespace {

// The source expression by which a content security policy (W3C, CSP level 3) knows an element's
// text.
std::string hash_source(const std::string& text) {
  const std::string hexadecimal = video::sha256_of_text(text);
  std::vector<std::uint8_t> bytes;
  for (std::size_t at = 0; at + 1 < hexadecimal.size(); at += 2)
    bytes.push_back(static_cast<std::uint8_t>(std::stoi(hexadecimal.substr(at, 2), nullptr, 16)));
  return "'sha256-" + base64(bytes) + "'";
}

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
