// The page's section on marks set by hand, and their part of result.json.
#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/page.h"
#include "report/page_words.h"
#include "report/result_json.h"

namespace rhumb::report {
namespace {

constexpr std::size_t readings_on_paper = 2;

std::string degrees_text(double rad) {
  return fmt::format("{:.1f}", std::abs(angle::deg_from_rad(rad)));
}

std::string agreement_text(const outcome::ReaderAgreement& agreement) {
  std::string text = fmt::format(
      "Readers {} and {} marked {} together: {} lies {}° from {} on average, {}° at most",
      agreement.first, agreement.second,
      agreement.pairs == 1 ? "one moment" : fmt::format("{} moments", agreement.pairs),
      agreement.second, signed_text(angle::deg_from_rad(agreement.mean_rad)), agreement.first,
      degrees_text(agreement.largest_rad));
  if (agreement.limits)
    text += fmt::format("; 95 % limits of agreement {}° to {}°",
                        signed_text(angle::deg_from_rad(agreement.limits->low_rad)),
                        signed_text(angle::deg_from_rad(agreement.limits->high_rad)));
  return text + ".";
}

}  // namespace

Json by_hand_values(const outcome::CaseOutcome& outcome) {
  if (outcome.hand_readings.empty()) return nullptr;
  Json readings = Json::array();
  for (const outcome::HandReading& reading : outcome.hand_readings) {
    Json value = {{"time_s", seconds(reading.time_s)},
                  {"time", clock_text(reading.time_s)},
                  {"reader", reading.reader.empty() ? "\u2013" : reading.reader},
                  {"axis", "\u2013"},
                  {"range", ""},
                  {"remark", reading.remark},
                  {"late", readings.size() >= readings_on_paper}};
    if (reading.axis) {
      const IntervalDeg axis = axis_deg(*reading.axis);
      value["axis"] = axis_text(axis.value) + "°";
      value["range"] = fmt::format("{}° to {}°", axis_text(axis.low), axis_text(axis.high));
    }
    readings.push_back(value);
  }
  Json agreements = Json::array();
  for (const outcome::ReaderAgreement& agreement : outcome.reader_agreement)
    agreements.push_back({{"text", agreement_text(agreement)}});
  return {{"click", fmt::format("{:g}", outcome.hand_click_sd_px)},
          {"readings", readings},
          {"agreements", agreements}};
}

Json anchors_value(const outcome::CaseOutcome& outcome) {
  Json readings = Json::array();
  for (const outcome::HandReading& reading : outcome.hand_readings) {
    const auto or_null = [](const std::optional<double>& value) {
      return value ? seconds(*value) : Json();
    };
    Json value = {{"time_s", seconds(reading.time_s)},
                  {"reader", text_or_null(reading.reader)},
                  {"used", reading.used},
                  {"click_sd_px", number(outcome.hand_click_sd_px)},
                  {"axis_deg", nullptr},
                  {"low_deg", nullptr},
                  {"high_deg", nullptr},
                  {"from_s", or_null(reading.from_s)},
                  {"to_s", or_null(reading.to_s)},
                  {"remark", reading.remark}};
    if (reading.axis) {
      const IntervalDeg axis = axis_deg(*reading.axis);
      value["axis_deg"] = number(axis.value);
      value["low_deg"] = number(axis.low);
      value["high_deg"] = number(axis.high);
    }
    readings.push_back(value);
  }
  return readings;
}

Json reader_agreement_value(const outcome::CaseOutcome& outcome) {
  Json list = Json::array();
  for (const outcome::ReaderAgreement& agreement : outcome.reader_agreement)
    list.push_back(
        {{"first", agreement.first},
         {"second", agreement.second},
         {"pairs", agreement.pairs},
         {"mean_deg", degrees(agreement.mean_rad)},
         {"largest_deg", degrees(agreement.largest_rad)},
         {"limits_low_deg", agreement.limits ? degrees(agreement.limits->low_rad) : Json()},
         {"limits_high_deg", agreement.limits ? degrees(agreement.limits->high_rad) : Json()}});
  return list;
}

}  // namespace rhumb::report
