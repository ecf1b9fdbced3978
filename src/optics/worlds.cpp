#include "optics/worlds.h"

#include <fmt/core.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {
namespace {

// Spread of what is assumed when it is not stated.
constexpr double position_se_mm = 0.5;  // Ophthalmic Res 2014;51:104: SD 0.35 to 0.53 between eyes
constexpr double cornea_se_D = 1.7;     // 28,709 eyes: 44.26 +/- 1.70 (PMC8045194)

enum Input {
  Axis,
  Position,
  Cornea,
  CorneaJ0,
  CorneaJ45,
  CorneaTurn,
  CorrectionM,
  CorrectionJ0,
  CorrectionJ45
};

std::vector<Uncertain> inputs_of(const StatedEye& eye, const Estimate& marks_axis_rad) {
  const LensPlane assumed;
  std::vector<Uncertain> inputs(CorrectionJ45 + 1, Uncertain::exact(0.0));
  inputs[Axis] = Uncertain::from(marks_axis_rad);
  inputs[Position] = Uncertain::normal(assumed.effective_position_mm, position_se_mm);
  if (eye.lens_power && eye.lens_power->effective_position_mm)
    inputs[Position] =
        Uncertain::normal(*eye.lens_power->effective_position_mm, eye.lens_power->se_position_mm);
  inputs[Cornea] = Uncertain::normal(assumed.cornea_D, cornea_se_D);
  if (eye.keratometry) {
    // Two powers with independent errors; the error across the meridian is taken as large as along
    // it.
    const PowerVector cornea = corneal_power(*eye.keratometry);
    const double se_D = eye.keratometry->se_D / std::sqrt(2.0);
    inputs[Cornea] = Uncertain::normal(cornea.m_D, se_D);
    inputs[CorneaJ0] = Uncertain::normal(cornea.j0_D, se_D);
    inputs[CorneaJ45] = Uncertain::normal(cornea.j45_D, se_D);
    inputs[CorneaTurn] = Uncertain::normal(0.0, eye.keratometry->se_axis_rad);
  }
  if (eye.refraction) {
    const auto correction =
        uncertain_power(corneal_correction(*eye.refraction), eye.refraction->se_D);
    std::copy(correction.begin(), correction.end(), inputs.begin() + CorrectionM);
  }
  return inputs;
}

double effective_position_mm(const StatedEye& eye) {
  const double assumed_mm = LensPlane{}.effective_position_mm;
  return eye.lens_power ? eye.lens_power->effective_position_mm.value_or(assumed_mm) : assumed_mm;
}

void add_cornea(std::vector<std::string>& said, const StatedEye& eye, double marks_axis_rad) {
  said.emplace_back(
      "Keratometry sees the front of the cornea; the astigmatism of its back is not in it.");
  const double lies_rad =
      true_axis_rad(marks_axis_rad, corneal_power(*eye.keratometry), effective_position_mm(eye));
  said.push_back(fmt::format(
      "Seen through this toric cornea the marks seem turned by {:.2f} degrees; that is not taken "
      "off the axis.",
      std::abs(angle::deg_from_rad(angle::wrap_deviation(marks_axis_rad - lies_rad)))));
}

void add_length(std::vector<std::string>& said, const StatedEye& eye) {
  if (!eye.keratometry || !eye.lens_power || !eye.lens_power->sphere_equivalent_D) return;
  LensPlane plane;
  plane.cornea_D = corneal_power(*eye.keratometry).m_D;
  plane.effective_position_mm = effective_position_mm(eye);
  if (eye.refraction) plane.refraction_D = corneal_correction(*eye.refraction).m_D;
  const double length_mm = implied_eye_length_mm(*eye.lens_power->sphere_equivalent_D, plane);
  if (length_mm > 18.0 && length_mm < 36.0) return;
  said.push_back(
      fmt::format("Lens power, keratometry and refraction together imply an eye of {:.1f} mm; "
                  "check them for a slip.",
                  length_mm));
}

}  // namespace

PowerVector corneal_correction(const Refraction& refraction) {
  const SphereCylinder lens{refraction.sphere_D, refraction.cylinder_D, refraction.axis_rad};
  return corneal_from_spectacle(vector_from(lens), refraction.vertex_mm);
}

std::array<Uncertain, 3> uncertain_power(const PowerVector& power, double se_D) {
  return {Uncertain::normal(power.m_D, std::hypot(se_D, 0.5 * se_D)),
          Uncertain::normal(power.j0_D, 0.5 * se_D), Uncertain::normal(power.j45_D, 0.5 * se_D)};
}

PowerVector corneal_power(const Keratometry& keratometry) {
  PowerVector power = vector_from(Astigmatism{keratometry.steep_D - keratometry.flat_D,
                                              keratometry.flat_meridian_rad + angle::pi / 2.0});
  power.m_D = 0.5 * (keratometry.flat_D + keratometry.steep_D);
  return power;
}

std::vector<World> worlds_of(const StatedEye& eye, double lens_cylinder_D,
                             const Estimate& marks_axis_rad) {
  std::vector<World> worlds;
  for (const std::vector<double>& row : draw(inputs_of(eye, marks_axis_rad))) {
    World world;
    world.marks_axis_rad = row[Axis];
    world.plane.effective_position_mm = row[Position];
    world.plane.cornea_D = row[Cornea];
    world.plane.refraction_D = row[CorrectionM];
    world.lens_D = corneal_from_lens_cylinder(lens_cylinder_D, world.plane);
    world.cornea = turned({row[Cornea], row[CorneaJ0], row[CorneaJ45]}, row[CorneaTurn]);
    world.correction = {row[CorrectionM], row[CorrectionJ0], row[CorrectionJ45]};
    worlds.push_back(world);
  }
  return worlds;
}

std::vector<std::string> assumptions_of(const StatedEye& eye, double marks_axis_rad) {
  const LensPlane assumed;
  std::vector<std::string> said;
  if (!eye.lens_power || !eye.lens_power->effective_position_mm)
    said.push_back(
        fmt::format("The lens's effective position is not stated; {:.1f} +/- {:.1f} mm is assumed "
                    "(Ophthalmic Res 2014;51:104).",
                    assumed.effective_position_mm, position_se_mm));
  if (!eye.keratometry)
    said.push_back(
        fmt::format("Keratometry is not stated; for the lens plane a mean corneal power of "
                    "{:.1f} +/- {:.1f} D is assumed (PMC8045194).",
                    assumed.cornea_D, cornea_se_D));
  else
    add_cornea(said, eye, marks_axis_rad);
  if (eye.refraction)
    said.emplace_back(
        "The refraction is taken as measured with the lens where the recording left it.");
  add_length(said, eye);
  return said;
}

}  // namespace rhumb::optics
