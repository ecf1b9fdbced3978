// Text files that the program carries within itself, made into code by CMake.
#pragma once

#include <string_view>

namespace rhumb::grade::embedded {

std::string_view default_rubric();
std::string_view page_template();
std::string_view page_style();
std::string_view words_script();
std::string_view drawing_script();
std::string_view page_script();
std::string_view chart_style();   // uPlot, MIT licence
std::string_view chart_script();  // uPlot, MIT licence

}  // namespace rhumb::grade::embedded
