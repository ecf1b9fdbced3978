// Numbers as people read them.
#pragma once

#include <string>

namespace rhumb::report {

std::string clock_text(double time_s);       // "3:07.52"
std::string length_text(double duration_s);  // "12 s", "7 min 5 s"
std::string percent_text(double share);      // "95"
std::string dioptre_text(double value_D);    // "0.25", with a true minus sign
const char* confidence_words(double confidence);
const char* direction_words(double deviation_deg);  // empty for what rounds to nothing

}  // namespace rhumb::report
