// What a tilt that is not known to the program does to an axis, against the closed form: a plane
// tilted by t about a line at azimuth a shows a direction m at a + atan(cos t tan(m - a)) when it
// is seen along the normal that it had (orthographic projection; textbook geometry).
#include <catch2/catch.hpp>
#include <cmath>
#include <complex>

#include "analyze/rows.h"
#include "angle/angle.h"

using namespace rhumb;
using namespace rhumb::analyze;
using angle::pi;
using angle::rad_from_deg;

namespace {

double seen(double meridian, double tilt, double azimuth) {
  const double m = meridian - azimuth;
  return azimuth + std::atan2(std::cos(tilt) * std::sin(m), std::cos(m));
}

// Root mean square over azimuths of how far a lens seems turned against marks at these meridians.
double exact_rms(double axis, const std::vector<double>& marks, double tilt) {
  double sum = 0.0;
  constexpr int azimuths = 360;
  for (int k = 0; k < azimuths; ++k) {
    const double azimuth = 2.0 * pi * k / azimuths;
    double off = angle::wrap_rotation(seen(axis, tilt, azimuth) - axis);
    for (const double mark : marks)
      off -= angle::wrap_rotation(seen(mark, tilt, azimuth) - mark) /
             static_cast<double>(marks.size());
    sum += off * off;
  }
  return std::sqrt(sum / azimuths);
}

// The program's own figure, for a tilt of which nothing is known but its size.
double stated_rms(double axis, const std::vector<double>& marks, double tilt) {
  Tie tie;
  for (const double mark : marks)
    tie.doubled_meridians += std::polar(1.0 / static_cast<double>(marks.size()), 2.0 * mark);
  const Pass pass{{}, lens::PatchStore(lens::PatchGeometry{}, 0), {}};
  const FrameReading coarse{};
  const FineReading fine{};
  const ChamberReading chamber{};
  const RowInputs with{pass,    nullptr, 0.0,   tilt,  coarse, fine,
                       chamber, tie,     false, false, {},     true};
  FineReport report;
  report.template_se_rad = 0.0;
  const double all = common_se(with, report, axis);
  // Without the part of a lens that is tilted in the eye, which does not depend on the reference.
  const double lens = tilt * 0.035 / std::sqrt(2.0);
  return std::sqrt(std::max(0.0, all * all - lens * lens));
}

}  // namespace

TEST_CASE("the part of the interval that a tilt makes depends on where lens and reference lie") {
  const double tilt = rad_from_deg(10.0);
  const std::vector<double> opposite{0.0, pi}, cross{0.0, 0.5 * pi, pi, 1.5 * pi};
  for (const double deg : {0.0, 20.0, 45.0, 70.0, 90.0, 135.0}) {
    CAPTURE(deg);
    const double axis = rad_from_deg(deg);
    CHECK(stated_rms(axis, opposite, tilt) ==
          Approx(exact_rms(axis, opposite, tilt)).epsilon(0.03).margin(1e-5));
    CHECK(stated_rms(axis, cross, tilt) == Approx(exact_rms(axis, cross, tilt)).epsilon(0.03));
    CHECK(stated_rms(axis, cross, tilt) == Approx(stated_rms(0.0, cross, tilt)).epsilon(1e-6));
  }
  CHECK(stated_rms(0.5 * pi, opposite, tilt) > rad_from_deg(0.5));
}
