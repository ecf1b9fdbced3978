// Back from a refraction over a toric lens to the eye, and on to the best axis.
//
// COMPUTED: by hand and in double precision elsewhere, from 'cornea = residual - lens'. The second,
// third and fourth examples cross the 0/180 wrap or use unequal powers, where sign slips show.
#include "optics/rerotate.h"

#include "near.h"
#include "optics/operation.h"
#include "optics/residual.h"

using namespace rhumb::optics;

namespace {

struct Example {
  double eye_D, steep_deg, lens_D, marks_deg;  // what is there
  double residual_D, residual_steep_deg;       // what is left
  SphereCylinder manifest;                     // what is measured
  double turn_deg, least_D;                    // what a turn would bring
};

const Example examples[] = {
    {2.0, 90, 2.00, 100, 0.6946, 50.0, lens(0.3473, -0.6946, 140.0), -10, 0.0},
    {2.5, 85, 2.06, 97, 1.0412, 58.208, lens(0.5206, -1.0412, 148.208), -12, 0.44},
    {1.5, 175, 2.06, 8, 0.9690, 119.366, lens(0.4845, -0.9690, 29.366), -13, 0.56},
    {3.0, 10, 3.00, 175, 1.5529, 47.5, lens(0.77645, -1.5529, 137.5), 15, 0.0},
};

}  // namespace

TEST_CASE("Four eyes with a turned lens, forward and back (COMPUTED)") {
  for (const Example& e : examples) {
    INFO("eye " << e.eye_D << " at " << e.steep_deg << ", marks " << e.marks_deg);
    const Astigmatism eye{e.eye_D, e.steep_deg * rad};
    const PowerVector left = vector_from(eye) + lens_vector(e.lens_D, e.marks_deg * rad);
    check_astigmatism(astigmatism_of(left), e.residual_D, e.residual_steep_deg, 6e-4);
    check_lens(residual_correction(eye, e.lens_D, e.marks_deg * rad), e.manifest, 6e-5, 6e-4);

    const Rerotation best = best_rerotation(vector_from(e.manifest), e.lens_D, e.marks_deg * rad);
    CHECK(best.eye.magnitude_D == Approx(e.eye_D).margin(2e-4));
    CHECK(axis_gap_deg(best.best_axis_rad, e.steep_deg * rad) < 3e-3);
    CHECK(best.turn_rad / rad == Approx(e.turn_deg).margin(3e-3));
    CHECK(best.cylinder_now_D == Approx(e.residual_D).margin(6e-5));
    CHECK(best.cylinder_after_D == Approx(e.least_D).margin(2e-4));
  }
}

TEST_CASE("The curve of residual against axis has its least value at the best axis") {
  const Example& e = examples[2];
  const std::vector<CurvePoint> curve = residual_curve({e.eye_D, e.steep_deg * rad}, e.lens_D, 180);
  REQUIRE(curve.size() == 181);
  CHECK(curve.front().cylinder_D == Approx(curve.back().cylinder_D));
  CHECK(curve[175].cylinder_D == Approx(e.least_D).margin(1e-9));
  CHECK(curve[85].cylinder_D == Approx(e.eye_D + e.lens_D).margin(1e-9));
  for (const CurvePoint& point : curve) CHECK(point.cylinder_D >= curve[175].cylinder_D - 1e-12);
}

TEST_CASE(
    "A turn, an exchange, or neither, against 0.5 D (Clin Ophthalmol 2020, OPTH.S285818 - entry "
    "SEEN)") {
  CHECK(turn_or_exchange(0.40, 0.10) == Remedy::Neither);
  CHECK(turn_or_exchange(1.04, 0.44) == Remedy::Turn);
  CHECK(turn_or_exchange(0.97, 0.56) == Remedy::Exchange);
}

TEST_CASE("An eye without astigmatism has no better axis - nothing is turned") {
  const PowerVector correction = -lens_vector(2.0, 30.0 * rad);
  const Rerotation best = best_rerotation(correction, 2.0, 30.0 * rad);
  CHECK(best.turn_rad == 0.0);
  CHECK(best.cylinder_after_D == Approx(2.0));
}

TEST_CASE("Vector analysis - definitions of Alpins and Goggin 2004 (definitions SEEN, COMPUTED)") {
  SECTION("3.00 at 90 to 1.00 at 60, nothing meant to be left") {
    const OperationAnalysis a = analyse_operation({3.0, 90 * rad}, {0.0, 0.0}, {1.0, 60 * rad});
    check_astigmatism(a.target_induced, 3.0, 180.0);
    check_astigmatism(a.surgically_induced, 2.6458, 9.5533);
    check_astigmatism(a.difference, 1.0, 150.0);
    CHECK(a.correction_index == Approx(0.8819).margin(6e-5));
    CHECK(a.magnitude_error_D == Approx(-0.3542).margin(6e-5));
    CHECK(a.angle_error_rad / rad == Approx(9.5533).margin(6e-5));
    CHECK(a.success_index == Approx(0.3333).margin(6e-5));
    CHECK(a.flattening_D == Approx(2.5).margin(6e-5));
    CHECK(a.flattening_index == Approx(0.8333).margin(6e-5));
    CHECK(a.torque_D == Approx(0.8660).margin(6e-5));
  }
  SECTION("2.50 at 85 to 0.75 at 20, nothing meant to be left") {
    const OperationAnalysis a = analyse_operation({2.5, 85 * rad}, {0.0, 0.0}, {0.75, 20 * rad});
    check_astigmatism(a.target_induced, 2.5, 175.0);
    check_astigmatism(a.surgically_induced, 3.0369, 0.4525);
    check_astigmatism(a.difference, 0.75, 110.0);
    CHECK(a.correction_index == Approx(1.2148).margin(6e-5));
    CHECK(a.magnitude_error_D == Approx(0.5369).margin(6e-5));
    CHECK(a.angle_error_rad / rad == Approx(5.4525).margin(6e-5));
    CHECK(a.flattening_D == Approx(2.9821).margin(6e-5));
    CHECK(a.flattening_index == Approx(1.1928).margin(6e-5));
    CHECK(a.torque_D == Approx(0.5745).margin(3e-4));
  }
  SECTION("2.00 at 100 to 0.80 at 70, meant to be 0.50 at 90") {
    const OperationAnalysis a =
        analyse_operation({2.0, 100 * rad}, {0.5, 90 * rad}, {0.8, 70 * rad});
    check_astigmatism(a.target_induced, 1.5397, 13.1885);
    check_astigmatism(a.surgically_induced, 1.7436, 21.7066);
    check_astigmatism(a.difference, 0.5265, 141.188, 6e-4);
    CHECK(a.correction_index == Approx(1.1324).margin(6e-5));
    CHECK(a.angle_error_rad / rad == Approx(8.5182).margin(6e-5));
    CHECK(a.success_index == Approx(0.3419).margin(6e-5));
    CHECK(a.flattening_index == Approx(1.0827).margin(6e-5));
  }
  SECTION("nothing meant: the indices stay 0, not infinite") {
    const OperationAnalysis a = analyse_operation({1.0, 0.3}, {1.0, 0.3}, {0.2, 1.0});
    CHECK(a.correction_index == 0.0);
    CHECK(std::isfinite(a.angle_error_rad));
  }
}
