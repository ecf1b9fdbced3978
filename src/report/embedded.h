// The page's templates, scripts and styles, and the chart library: text files of this folder that
// the build turns into these functions (cmake/embed.cmake).
#pragma once

#include <string_view>

namespace rhumb::report::embedded {

std::string_view page_html();
std::string_view page_css();
std::string_view player_js();
std::string_view chart_js();
std::string_view correct_js();
std::string_view start_js();
std::string_view uPlot_iife_min_js();
std::string_view uPlot_min_css();
std::string_view timeline_csv_metadata_json();
std::string_view followup_html();
std::string_view followup_css();
std::string_view followup_js();
std::string_view study_html();
std::string_view study_css();
std::string_view study_js();

}  // namespace rhumb::report::embedded
