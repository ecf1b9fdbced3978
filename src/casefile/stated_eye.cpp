#include <fmt/core.h>

#include <cmath>

#include "angle/angle.h"
#include "casefile/parts.h"

namespace rhumb::casefile {
namespace {

// Wide enough for every eye that is operated on with a toric lens, narrow enough to catch a radius
// in millimetres or a power of the whole eye (common practice, no source).
constexpr Bounds corneal_power_D{25.0, 75.0, "dioptres"};
constexpr Bounds sphere_D{-30.0, 30.0, "dioptres"};
constexpr Bounds cylinder_D{-15.0, 15.0, "dioptres"};
constexpr Bounds vertex_mm{0.0, 25.0, "mm"};
constexpr Bounds lens_sphere_D{-20.0, 60.0, "dioptres"};
constexpr Bounds lens_position_mm{1.0, 10.0, "mm behind the cornea"};
constexpr Bounds error_D{0.0, 5.0, "dioptres"};
constexpr Bounds error_deg{0.0, 45.0, "degrees"};
constexpr Bounds error_mm{0.0, 3.0, "mm"};

double flat_meridian_deg(const CheckedTable& table, bool toric) {
  const std::optional<double> flat = table.number("flat_meridian_deg", axis_bounds_deg);
  const std::optional<double> steep = table.number("steep_meridian_deg", axis_bounds_deg);
  if (!flat && !steep && toric)
    table.fail("", "says how steep but not where", "add steep_meridian_deg or flat_meridian_deg");
  if (!steep) return flat.value_or(0.0);
  if (!flat) return *steep - 90.0;
  constexpr double rounding_deg = 1.5;  // instruments round each meridian to a degree
  const double apart =
      angle::deg_from_rad(angle::wrap_deviation(angle::rad_from_deg(*steep - *flat - 90.0)));
  if (std::abs(apart) > rounding_deg)
    table.fail("steep_meridian_deg",
               fmt::format("{:g} and {:g} are not 90 degrees apart", *flat, *steep),
               "give one of the two meridians");
  return *flat + apart / 2.0;
}

optics::Keratometry read_keratometry(const CheckedTable& table) {
  table.only(
      {"flat_D", "flat_meridian_deg", "steep_D", "steep_meridian_deg", "se_D", "se_axis_deg"});
  optics::Keratometry k;
  k.flat_D = table.need_number("flat_D", corneal_power_D);
  k.steep_D = table.need_number("steep_D", corneal_power_D);
  if (k.steep_D < k.flat_D)
    table.fail("steep_D", fmt::format("{:g} is below flat_D, {:g}", k.steep_D, k.flat_D),
               "exchange the two powers and their meridians");
  const double flat_deg = flat_meridian_deg(table, k.steep_D > k.flat_D);
  k.flat_meridian_rad = angle::wrap_axis(angle::rad_from_deg(flat_deg));
  k.se_D = table.number("se_D", error_D).value_or(k.se_D);
  if (const auto se = table.number("se_axis_deg", error_deg))
    k.se_axis_rad = angle::rad_from_deg(*se);
  return k;
}

optics::Refraction read_refraction(const CheckedTable& table) {
  table.only({"sphere_D", "cylinder_D", "axis_deg", "vertex_mm", "se_D"});
  optics::Refraction refraction;
  refraction.sphere_D = table.need_number("sphere_D", sphere_D);
  refraction.cylinder_D = table.need_number("cylinder_D", cylinder_D);
  const std::optional<double> axis = table.number("axis_deg", axis_bounds_deg);
  if (!axis && refraction.cylinder_D != 0.0)
    table.fail("", "the cylinder has no axis", "add axis_deg = a number from 0 to 180");
  refraction.axis_rad = angle::wrap_axis(angle::rad_from_deg(axis.value_or(0.0)));
  refraction.vertex_mm = table.number("vertex_mm", vertex_mm).value_or(refraction.vertex_mm);
  refraction.se_D = table.number("se_D", error_D).value_or(refraction.se_D);
  return refraction;
}

optics::LensPower read_lens_power(const CheckedTable& table) {
  table.only({"sphere_equivalent_D", "effective_position_mm", "se_position_mm"});
  optics::LensPower power;
  power.sphere_equivalent_D = table.number("sphere_equivalent_D", lens_sphere_D);
  power.effective_position_mm = table.number("effective_position_mm", lens_position_mm);
  power.se_position_mm = table.number("se_position_mm", error_mm).value_or(power.se_position_mm);
  return power;
}

}  // namespace

optics::StatedEye stated_eye(const CheckedTable& top) {
  optics::StatedEye eye;
  if (const auto table = top.table("keratometry")) eye.keratometry = read_keratometry(*table);
  if (const auto table = top.table("refraction")) eye.refraction = read_refraction(*table);
  if (const auto table = top.table("lens_power")) eye.lens_power = read_lens_power(*table);
  return eye;
}

}  // namespace rhumb::casefile
