// What must hold for every lens, axis and eye.
#include <rapidcheck.h>

#include <array>

#include "near.h"
#include "optics/effect.h"
#include "optics/operation.h"
#include "optics/residual.h"
#include "optics/vergence.h"

using namespace rhumb::optics;
namespace angle = rhumb::angle;

namespace {

rc::Gen<double> between(double low, double high) {
  return rc::gen::map(rc::gen::inRange(0, 1 << 20),
                      [=](int step) { return low + (high - low) * step / double(1 << 20); });
}
rc::Gen<double> any_axis() { return between(-2.0 * angle::pi, 2.0 * angle::pi); }
rc::Gen<double> cylinder() { return between(0.0, 10.0); }

SphereCylinder any_lens() { return {*between(-25.0, 25.0), *between(-12.0, 12.0), *any_axis()}; }
PowerVector any_power() { return vector_from(any_lens()); }
Astigmatism any_eye() { return {*between(0.01, 10.0), *any_axis()}; }

bool same(const PowerVector& a, const PowerVector& b, double within = 1e-9) {
  return blur(a - b) < within;
}
bool holds(const Estimate& e) {
  return std::isfinite(e.low) && std::isfinite(e.high) && e.low <= e.value && e.value <= e.high;
}
bool finite(const SphereCylinder& lens) {
  return std::isfinite(lens.sphere_D + lens.cylinder_D + lens.axis_rad);
}

}  // namespace

TEST_CASE("Properties of power vectors") {
  CHECK(rc::check("both sign conventions are the same lens", [] {
    const SphereCylinder lens = any_lens();
    RC_ASSERT(same(vector_from(lens), vector_from(transposed(lens))));
    const PowerVector power = vector_from(lens);
    RC_ASSERT(same(power, vector_from(minus_cylinder_from(power))));
    RC_ASSERT(same(power, vector_from(plus_cylinder_from(power))));
    RC_ASSERT(minus_cylinder_from(power).cylinder_D <= 0.0);
    RC_ASSERT(plus_cylinder_from(power).cylinder_D >= 0.0);
    const double axis = minus_cylinder_from(power).axis_rad;
    RC_ASSERT(axis >= 0.0 && axis < angle::pi);
  }));
  CHECK(rc::check("J0 and J45 turn by twice the angle", [] {
    const SphereCylinder lens = any_lens();
    const double turn = *any_axis();
    const SphereCylinder at_new_axis{lens.sphere_D, lens.cylinder_D, lens.axis_rad + turn};
    RC_ASSERT(same(turned(vector_from(lens), turn), vector_from(at_new_axis)));
  }));
  CHECK(rc::check("sums commute and associate, and a lens minus itself is nothing", [] {
    const PowerVector a = any_power();
    const PowerVector b = any_power();
    const PowerVector c = any_power();
    RC_ASSERT(same(a + b, b + a, 1e-12));
    RC_ASSERT(same((a + b) + c, a + (b + c)));
    RC_ASSERT(blur(a - a) == 0.0);
  }));
  CHECK(rc::check("power in every meridian adds up", [] {
    const PowerVector a = any_power();
    const PowerVector b = any_power();
    const double p = *any_axis();
    RC_ASSERT(std::abs(power_in_meridian(a + b, p) - power_in_meridian(a, p) -
                       power_in_meridian(b, p)) < 1e-9);
  }));
  CHECK(rc::check("no meridian of a sphero-cylinder is outside S and S + C", [] {
    const SphereCylinder lens = any_lens();
    const double power = power_in_meridian(vector_from(lens), *any_axis());
    RC_ASSERT(power >= std::min(lens.sphere_D, lens.sphere_D + lens.cylinder_D) - 1e-9);
    RC_ASSERT(power <= std::max(lens.sphere_D, lens.sphere_D + lens.cylinder_D) + 1e-9);
  }));
}

TEST_CASE("Properties of planes") {
  CHECK(rc::check("spectacles to cornea and back is the same refraction", [] {
    const PowerVector power = any_power();
    const double vertex_mm = *between(0.0, 16.0);
    RC_ASSERT(
        same(spectacle_from_corneal(corneal_from_spectacle(power, vertex_mm), vertex_mm), power));
  }));
  CHECK(rc::check(
      "lens plane to cornea and back is the same cylinder, and always less at the cornea", [] {
        const LensPlane plane{*between(3.0, 7.0), *between(36.0, 52.0), *between(-12.0, 8.0)};
        const double at_lens = *between(0.25, 9.0);
        const double at_cornea = corneal_from_lens_cylinder(at_lens, plane);
        RC_ASSERT(at_cornea < at_lens);
        RC_ASSERT(std::abs(lens_from_corneal_cylinder(at_cornea, plane) - at_lens) < 1e-9);
        RC_ASSERT(std::abs(at_lens / at_cornea / plane_ratio(plane) - 1.0) < 0.01);
      }));
}

TEST_CASE("Properties of residuals and turns") {
  CHECK(rc::check("the closed form is the length of the vector sum", [] {
    const Astigmatism eye = any_eye();
    const double lens_D = *cylinder();
    const double marks = *any_axis();
    const double sum = cylinder_of(vector_from(eye) + lens_vector(lens_D, marks));
    RC_ASSERT(std::abs(residual_cylinder(eye.magnitude_D, lens_D, marks - eye.steep_rad) - sum) <
              1e-9);
    RC_ASSERT(std::abs(-residual_correction(eye, lens_D, marks).cylinder_D - sum) < 1e-9);
  }));
  CHECK(rc::check("the best axis is a minimum, from whatever the present axis is", [] {
    const PowerVector correction = any_power();
    const double lens_D = *between(0.25, 8.0);
    const double marks = *any_axis();
    const Rerotation best = best_rerotation(correction, lens_D, marks);
    const auto after = [&](double axis) {
      return cylinder_of(correction_after_turn(correction, lens_D, marks, axis));
    };
    RC_ASSERT(std::abs(after(best.best_axis_rad) - best.cylinder_after_D) < 1e-6);
    RC_ASSERT(best.cylinder_after_D <= best.cylinder_now_D + 1e-9);
    for (int i = 0; i < 36; ++i)
      RC_ASSERT(after(i * angle::pi / 36.0) >= best.cylinder_after_D - 1e-6);
    RC_ASSERT(axis_gap_deg(marks + best.turn_rad, best.best_axis_rad) < 1e-6);
  }));
  CHECK(rc::check("turning the lens leaves the spherical equivalent", [] {
    const PowerVector correction = any_power();
    const PowerVector after =
        correction_after_turn(correction, *cylinder(), *any_axis(), *any_axis());
    RC_ASSERT(std::abs(after.m_D - correction.m_D) < 1e-12);
  }));
  CHECK(rc::check(
      "at the loss angle the lens is worth nothing; short of it it helps, beyond it harms", [] {
        const double eye_D = *between(0.25, 8.0);
        const double lens_D = eye_D * *between(0.05, 1.95);
        const double loss = loss_angle_rad(eye_D, lens_D).value();
        RC_ASSERT(std::abs(residual_cylinder(eye_D, lens_D, loss) - eye_D) < 1e-9);
        RC_ASSERT(residual_cylinder(eye_D, lens_D, 0.99 * loss) < eye_D);
        RC_ASSERT(residual_cylinder(eye_D, lens_D, 1.01 * loss) > eye_D);
      }));
  CHECK(rc::check("after a further turn up to the harm the lens is worth nothing", [] {
    const Astigmatism eye = any_eye();
    const double lens_D = eye.magnitude_D * *between(0.05, 1.95);
    const double marks = *any_axis();
    const HarmTurns turns = harm_turns(eye, lens_D, marks).value();
    if (turns.clockwise_rad == 0.0 && turns.counter_clockwise_rad == 0.0) {
      RC_ASSERT(residual_cylinder(eye.magnitude_D, lens_D, marks - eye.steep_rad) >=
                eye.magnitude_D - 1e-9);
      return;
    }
    for (const double turn : {turns.counter_clockwise_rad, -turns.clockwise_rad})
      RC_ASSERT(std::abs(residual_cylinder(eye.magnitude_D, lens_D, marks + turn - eye.steep_rad) -
                         eye.magnitude_D) < 1e-8);
  }));
  CHECK(rc::check("a perfect operation has index 1, no difference and no error of angle", [] {
    const Astigmatism before = any_eye();
    const Astigmatism target{*between(0.0, 0.5) * before.magnitude_D, *any_axis()};
    const OperationAnalysis analysis = analyse_operation(before, target, target);
    RC_ASSERT(std::abs(analysis.correction_index - 1.0) < 1e-9);
    RC_ASSERT(analysis.difference.magnitude_D < 1e-9);
    RC_ASSERT(std::abs(analysis.angle_error_rad) < 1e-9);
  }));
}

TEST_CASE(
    "Properties of the whole effect - nothing is ever NaN and every interval holds its value") {
  CHECK(rc::check("effect", [] {
    StatedEye eye;
    if (*rc::gen::arbitrary<bool>())
      eye.keratometry = Keratometry{*between(36.0, 44.0), *any_axis(), *between(44.0, 52.0),
                                    *between(0.0, 1.0), *between(0.0, 0.2)};
    if (*rc::gen::arbitrary<bool>())
      eye.refraction = Refraction{*between(-12.0, 8.0), *between(-8.0, 8.0), *any_axis(),
                                  *between(0.0, 16.0), *between(0.0, 0.6)};
    if (*rc::gen::arbitrary<bool>()) eye.lens_power = LensPower{20.0, *between(3.0, 7.0), 0.2};
    const double axis = *any_axis();
    const Estimate achieved{axis, axis - *between(0.0, 0.3), axis + *between(0.0, 0.3)};
    const auto planned = *rc::gen::arbitrary<bool>() ? std::optional(*any_axis()) : std::nullopt;
    const auto effect = refractive_effect(eye, *between(0.25, 8.0), achieved, planned);
    RC_ASSERT(effect.has_value());
    RC_ASSERT(holds(effect->lens_cylinder_corneal_D) && holds(effect->plane_ratio));
    RC_ASSERT(effect->deviation.has_value() == planned.has_value());
    RC_ASSERT(effect->keratometry.has_value() == eye.keratometry.has_value());
    RC_ASSERT(effect->refraction.has_value() == eye.refraction.has_value());
    if (effect->deviation) {
      RC_ASSERT(holds(effect->deviation->deviation_rad) &&
                holds(effect->deviation->residual.cylinder_D));
      RC_ASSERT(holds(effect->deviation->residual.axis_rad) &&
                holds(effect->deviation->lost_share));
    }
    if (effect->keratometry) {
      RC_ASSERT(holds(effect->keratometry->achieved.cylinder_D));
      RC_ASSERT(finite(effect->keratometry->achieved.correction));
    }
    if (effect->refraction) {
      RC_ASSERT(holds(effect->refraction->best_axis_rad) && holds(effect->refraction->turn_rad));
      RC_ASSERT(holds(effect->refraction->cylinder_after_turn_D));
      RC_ASSERT(holds(effect->refraction->exchange_cylinder_D));
      RC_ASSERT(finite(effect->refraction->after_turn));
      RC_ASSERT(holds(effect->refraction->spectacle_sphere_after_turn_D));
      RC_ASSERT(holds(effect->refraction->spectacle_cylinder_after_turn_D));
      RC_ASSERT(holds(effect->refraction->spectacle_axis_after_turn_rad));
      for (const CurveEstimate& point : effect->refraction->curve)
        RC_ASSERT(holds(point.cylinder_D));
    }
    for (const PlotPoint& point : effect->plot)
      RC_ASSERT(std::isfinite(point.j0_D + point.j45_D + point.ellipse.semi_major_D +
                              point.ellipse.semi_minor_D + point.ellipse.angle_rad));
  }));
}
