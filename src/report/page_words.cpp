#include "report/page_words.h"

#include <fmt/format.h>

#include <cmath>

namespace rhumb::report {

std::string clock_text(double time_s) {
  const auto hundredths = static_cast<long long>(std::llround(std::abs(time_s) * 100.0));
  return fmt::format("{}:{:02}.{:02}", hundredths / 6000, hundredths / 100 % 60, hundredths % 100);
}

std::string length_text(double duration_s) {
  const auto seconds = static_cast<long long>(std::llround(duration_s));
  return seconds < 60 ? fmt::format("{} s", seconds)
                      : fmt::format("{} min {} s", seconds / 60, seconds % 60);
}

std::string percent_text(double share) { return fmt::format("{:.0f}", 100.0 * share); }

std::string dioptre_text(double value_D) {
  const std::string size = fmt::format("{:.2f}", std::abs(value_D));
  return value_D < 0.0 && size != "0.00" ? "\u2212" + size : size;
}

const char* confidence_words(double confidence) {
  if (confidence >= 0.9) return "almost certain";
  if (confidence >= 0.75) return "likely";
  if (confidence >= 0.5) return "more likely than not";
  return "doubtful";
}

const char* direction_words(double deviation_deg) {
  if (std::abs(deviation_deg) < 0.05) return "";
  return deviation_deg > 0.0 ? "counter-clockwise" : "clockwise";
}

}  // namespace rhumb::report
