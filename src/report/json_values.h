// Small values of result.json.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

namespace rhumb::report {

using Json = nlohmann::ordered_json;

Json number(double value);   // to 1e-4; null where it is not finite
Json seconds(double value);  // to 1e-6
Json degrees(double rad);
Json degrees_or_null(const std::optional<double>& rad);
Json text_or_null(const std::string& text);  // null where it is empty

}  // namespace rhumb::report
