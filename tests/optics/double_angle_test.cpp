// The double-angle plane: points, centroid, ellipses.
//
// SEEN: read in the named source; COMPUTED: evaluated elsewhere from a formula of that source.
#include "optics/double_angle.h"

#include <array>

#include "near.h"

using namespace rhumb::optics;

TEST_CASE(
    "A plus cylinder in the plane - +2.00 at 60, entokey chapter 2, fig. 2.1 (inputs SEEN, "
    "COMPUTED)") {
  const PlanePoint point = double_angle_from({2.0, 60.0 * rad});
  CHECK(point.x == Approx(-1.0));
  CHECK(point.y == Approx(1.7321).margin(6e-5));
  check_astigmatism(astigmatism_from(point), 2.0, 60.0);
}

TEST_CASE("With the rule lies left, against the rule right - Eurotimes 2020 (SEEN)") {
  CHECK(double_angle_from({1.0, 90.0 * rad}).x == Approx(-1.0));
  CHECK(double_angle_from({1.0, 180.0 * rad}).x == Approx(1.0));
}

TEST_CASE("Centroid and 95 % ellipses of five eyes (formula of Hotelling's T^2, COMPUTED)") {
  const std::array eyes{Astigmatism{1.0, 90 * rad}, Astigmatism{0.5, 80 * rad},
                        Astigmatism{0.75, 100 * rad}, Astigmatism{1.25, 85 * rad},
                        Astigmatism{0.25, 10 * rad}};
  std::array<PlanePoint, 5> points;
  for (std::size_t i = 0; i < eyes.size(); ++i) points[i] = double_angle_from(eyes[i]);
  const Centroid found = centroid(points).value();
  CHECK(found.mean.x == Approx(-0.6341).margin(6e-5));
  CHECK(found.mean.y == Approx(0.0434).margin(6e-5));
  check_astigmatism(astigmatism_from(found.mean), 0.6356, 88.0419, 6e-4);
  CHECK(std::sqrt(found.covariance.xx) == Approx(0.5651).margin(6e-5));
  CHECK(std::sqrt(found.covariance.yy) == Approx(0.1871).margin(6e-5));
  CHECK(found.covariance.xy == Approx(-0.0023).margin(6e-5));
  CHECK(found.of_mean.semi_major_D == Approx(1.2755).margin(6e-5));
  CHECK(found.of_mean.semi_minor_D == Approx(0.4222).margin(6e-5));
  CHECK(found.of_points.semi_major_D == Approx(3.1244).margin(6e-5));
  CHECK(found.of_points.semi_minor_D == Approx(1.0342).margin(6e-5));
  CHECK(found.of_points.angle_rad / rad == Approx(179.54).margin(0.02));
  const PlotEllipse chi = ellipse_from(found.covariance);
  CHECK(chi.semi_major_D == Approx(1.3833).margin(6e-5));
  CHECK(chi.semi_minor_D == Approx(0.4579).margin(6e-5));
  CHECK_FALSE(centroid(std::span(points).first(2)).has_value());
}
