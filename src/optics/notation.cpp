#include "optics/notation.h"

#include <fmt/core.h>

#include <charconv>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {
namespace {

constexpr double largest_D = 60.0;  // no spectacle or lens power in use comes near; catches slips

// Reads a number off the front; from_chars knows no plus sign.
std::optional<double> take_number(std::string_view& text) {
  if (!text.empty() && text.front() == '+') {
    text.remove_prefix(1);
    if (!text.empty() && (text.front() == '-' || text.front() == '+')) return std::nullopt;
  }
  double value = 0.0;
  const auto [end, error] =
      std::from_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed);
  if (error != std::errc{} || !std::isfinite(value)) return std::nullopt;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return value;
}

bool take(std::string_view& text, std::string_view any_of) {
  if (text.empty() || any_of.find(text.front()) == std::string_view::npos) return false;
  text.remove_prefix(1);
  return true;
}

}  // namespace

std::optional<SphereCylinder> parse_notation(std::string_view text) {
  const std::optional<double> sphere = take_number(text);
  if (!sphere || std::abs(*sphere) > largest_D) return std::nullopt;
  if (text.empty()) return SphereCylinder{*sphere, 0.0, 0.0};
  if (!take(text, "/")) return std::nullopt;
  const std::optional<double> cylinder = take_number(text);
  if (!cylinder || std::abs(*cylinder) > largest_D || !take(text, "xX")) return std::nullopt;
  const std::optional<double> axis_deg = take_number(text);
  if (!axis_deg || !text.empty() || *axis_deg < 0.0 || *axis_deg > 180.0) return std::nullopt;
  return SphereCylinder{*sphere, *cylinder, angle::wrap_axis(angle::rad_from_deg(*axis_deg))};
}

std::string axis_text(double axis_rad, int decimals) {
  const double scale = std::pow(10.0, decimals);
  const double rounded =
      std::round(angle::deg_from_rad(angle::wrap_axis(axis_rad)) * scale) / scale;
  return fmt::format("{:.{}f}", rounded > 0.0 ? rounded : 180.0, decimals);
}

std::string notation(const SphereCylinder& lens) {
  // Adding 0 turns a negative zero into a plain one.
  const double sphere = std::round(lens.sphere_D * 100.0) / 100.0 + 0.0;
  const double cylinder = std::round(lens.cylinder_D * 100.0) / 100.0 + 0.0;
  if (cylinder == 0.0) return fmt::format("{:+.2f}", sphere);
  return fmt::format("{:+.2f}/{:+.2f}x{}", sphere, cylinder, axis_text(lens.axis_rad));
}

}  // namespace rhumb::optics
