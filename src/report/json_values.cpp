#include "report/json_values.h"

#include <cmath>

#include "angle/angle.h"
#include "report/degrees.h"

namespace rhumb::report {

Json number(double value) { return std::isfinite(value) ? Json(rounded(value)) : Json(); }

Json seconds(double value) { return std::isfinite(value) ? Json(rounded(value, 1e-6)) : Json(); }

Json degrees(double rad) { return number(angle::deg_from_rad(rad)); }

Json degrees_or_null(const std::optional<double>& rad) { return rad ? degrees(*rad) : Json(); }

Json text_or_null(const std::string& text) { return text.empty() ? Json() : Json(text); }

}  // namespace rhumb::report
