// Power vectors and crossed cylinders against worked examples from outside.
//
// Status of a value: SEEN: inputs and result printed in the named source; COMPUTED: the formula was
// seen in the named source and evaluated elsewhere in double precision.
#include "near.h"

using namespace rhumb::optics;

TEST_CASE("A sum of refractions - gatinel.com, addition of refractions (SEEN)") {
  const PowerVector first = vector_from(lens(-2.0, -2.0, 180.0));
  const PowerVector second = vector_from(lens(1.0, -1.0, 90.0));
  check_vector(first, -3.0, 1.0, 0.0);
  check_vector(second, 0.5, -0.5, 0.0);
  check_vector(first + second, -2.5, 0.5, 0.0);
  check_lens(crossed(lens(-2.0, -2.0, 180.0), lens(1.0, -1.0, 90.0)), lens(-2.0, -1.0, 180.0));
}

TEST_CASE(
    "Crossed at 45 degrees, minus cylinders - brainscape card 9441856 (SEEN, printed "
    "-0.40/-2.24x32)") {
  check_lens(crossed(lens(0.0, -1.0, 180.0), lens(0.0, -2.0, 45.0)),
             lens(-0.3820, -2.2361, 31.7175));
}

TEST_CASE("Crossed at 45 degrees, plus cylinders - the same card (SEEN, printed +2.62/-2.24x122)") {
  check_lens(crossed(lens(0.0, 1.0, 180.0), lens(0.0, 2.0, 45.0)), lens(2.6180, -2.2361, 121.7175));
}

TEST_CASE("Perpendicular axes - The Indian Optician, May-June 2022, p. 105 (SEEN)") {
  check_lens(crossed(lens(1.75, 0.5, 45.0), lens(-2.25, -1.0, 135.0)), lens(0.0, -1.5, 135.0));
}

TEST_CASE("Parallel axes - a public unit test of a sum of refractions (SEEN)") {
  check_lens(crossed(lens(0.0, -2.0, 90.0), lens(0.0, -1.0, 90.0)), lens(0.0, -3.0, 90.0));
}

TEST_CASE(
    "Oblique, opposite signs - inputs of the same public test (inputs SEEN, result COMPUTED)") {
  const SphereCylinder a = lens(-4.0, 2.0, 45.0);
  const SphereCylinder b = lens(-5.0, -3.0, 120.0);
  check_vector(vector_from(a) + vector_from(b), -9.5, -0.75, -2.2990);
  check_lens(crossed(a, b), lens(-7.0817, -4.8366, 125.9662));
}

TEST_CASE(
    "Single lenses as power vectors - Thibos, Wheeler and Horner 1997 (formula from memory, "
    "COMPUTED)") {
  check_vector(vector_from(lens(-1.0, -2.0, 30.0)), -2.0, 0.5, 0.8660);
  check_vector(vector_from(lens(2.0, -1.5, 75.0)), 1.25, -0.6495, 0.3750);
  const PowerVector third = vector_from(lens(-3.25, -0.75, 160.0));
  check_vector(third, -3.6250, 0.2873, -0.2410);
  CHECK(blur(third) == Approx(3.6443).margin(6e-5));
}

TEST_CASE(
    "Closed form of crossed plano-cylinders - The Indian Optician 2022, p. 105 (formula SEEN, "
    "COMPUTED)") {
  // C^2 = F1^2 + F2^2 + 2 F1 F2 cos 2a, tan 2t = F2 sin 2a / (F1 + F2 cos 2a), S = (F1 + F2 - C) /
  // 2
  for (const double a_deg : {5.0, 20.0, 37.0, 60.0, 89.0, 120.0, 171.0}) {
    const double f1 = 1.25;
    const double f2 = 2.5;
    const double a = a_deg * rad;
    const double c = std::sqrt(f1 * f1 + f2 * f2 + 2.0 * f1 * f2 * std::cos(2.0 * a));
    const double t = 0.5 * std::atan2(f2 * std::sin(2.0 * a), f1 + f2 * std::cos(2.0 * a));
    const SphereCylinder wanted{0.5 * (f1 + f2 - c), c, t};
    check_lens(transposed(crossed(lens(0.0, f1, 0.0), lens(0.0, f2, a_deg))), wanted, 1e-12, 1e-10);
  }
}

TEST_CASE(
    "Equal plano-cylinders - axis halfway, sphere 2 F sin^2(a/2) (the same page; formula SEEN, "
    "COMPUTED)") {
  // The page's a is the angle between the axes; its sphere is of the lens in plus-cylinder form.
  for (const double a_deg : {10.0, 30.0, 45.0, 80.0}) {
    const SphereCylinder sum = transposed(crossed(lens(0.0, 2.0, 0.0), lens(0.0, 2.0, a_deg)));
    CHECK(sum.sphere_D ==
          Approx(4.0 * std::pow(std::sin(0.5 * a_deg * rad), 2)).margin(1e-12).scale(1.0));
    CHECK(axis_gap_deg(sum.axis_rad, 0.5 * a_deg * rad) < 1e-10);
  }
}

TEST_CASE("Six lines of Olsen's letter (J Cataract Refract Surg; SEEN) give the same sum") {
  // C0 = sum of C cos 2a, C45 = sum of C sin 2a, axis = atan(C45/C0)/2 with 90 added where C0 < 0.
  const SphereCylinder a = lens(0.5, 1.5, 20.0);
  const SphereCylinder b = lens(-1.0, 2.25, 110.0);
  const double c0 = 1.5 * std::cos(40.0 * rad) + 2.25 * std::cos(220.0 * rad);
  const double c45 = 1.5 * std::sin(40.0 * rad) + 2.25 * std::sin(220.0 * rad);
  const double c3 = std::sqrt(c0 * c0 + c45 * c45);
  double axis = 0.5 * std::atan(c45 / c0);
  if (c0 < 0.0) axis += 90.0 * rad;
  const double s3 = (0.5 + 0.75) + (-1.0 + 1.125) - 0.5 * c3;
  check_lens(transposed(crossed(a, b)), SphereCylinder{s3, c3, axis}, 1e-12, 1e-10);
}

TEST_CASE("DICOM PS3.3 C.8.25.6.1 - the power of a cylinder lies 90 degrees from its axis (SEEN)") {
  const PowerVector cylinder = vector_from(lens(0.0, -2.0, 30.0));
  CHECK(power_in_meridian(cylinder, 120.0 * rad) == Approx(-2.0));
  CHECK(power_in_meridian(cylinder, 30.0 * rad) == Approx(0.0).margin(1e-12));
}
