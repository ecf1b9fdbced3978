// Powers carried between planes.
//
// COMPUTED: evaluated elsewhere in double precision from the formula or data named.
#include "optics/vergence.h"

#include "near.h"

using namespace rhumb::optics;

TEST_CASE(
    "Powers of a lens for 43/45 D, 23.5 mm, by meridional vergence (textbook formula, COMPUTED)") {
  const double table[][4] = {{4.5, 20.0331, 17.2765, 1.3783},
                             {5.0, 20.9691, 18.1028, 1.4332},
                             {5.5, 21.9730, 18.9903, 1.4914},
                             {6.0, 23.0516, 19.9451, 1.5532}};
  PowerVector cornea = vector_from(Astigmatism{2.0, 70.0 * rad});
  cornea.m_D = 44.0;
  for (const auto& [position_mm, flat_D, steep_D, ratio] : table) {
    const PowerVector power = lens_for(cornea, {}, position_mm, 23.5);
    CHECK(power_in_meridian(power, 160.0 * rad) == Approx(flat_D).margin(6e-5));
    CHECK(power_in_meridian(power, 70.0 * rad) == Approx(steep_D).margin(6e-5));
    CHECK(cylinder_of(power) / 2.0 == Approx(ratio).margin(6e-5));
    const LensPlane plane{position_mm, 44.0, 0.0};
    CHECK(plane_ratio(plane) == Approx(ratio).margin(6e-4));
    // The whole way round: that lens does 2 D at the cornea.
    CHECK(corneal_from_lens_cylinder(cylinder_of(power), plane) == Approx(2.0).margin(2e-3));
    CHECK(implied_eye_length_mm(power.m_D, plane) == Approx(23.5).margin(0.01));
  }
}

TEST_CASE(
    "A ratio of 1.46, the fixed value of early practice (from memory), is within the physical "
    "range") {
  CHECK(plane_ratio({4.0, 42.0, 0.0}) < 1.46);
  CHECK(plane_ratio({6.0, 46.0, 0.0}) > 1.46);
}

TEST_CASE(
    "Magnification by the cornea, m = 1 / (1 - d F / 1336), F 43 D (formula SEEN, COMPUTED)") {
  const double table[][2] = {
      {3.05, 1.1089}, {3.6, 1.1311}, {4.0, 1.1478}, {4.5, 1.1694}, {5.0, 1.1918}};
  for (const auto& [depth_mm, magnification] : table)
    CHECK(std::sqrt(plane_ratio({depth_mm, 43.0, 0.0})) == Approx(magnification).margin(6e-5));
}

TEST_CASE("A toric cornea turns the seen direction of marks 4.5 mm behind it (COMPUTED)") {
  const double table[][3] = {{43, 44, 0.113}, {43, 45, 0.227}, {42, 46, 0.453}};
  for (const auto& [flat_D, steep_D, largest_deg] : table) {
    PowerVector cornea = vector_from(Astigmatism{steep_D - flat_D, 100.0 * rad});
    cornea.m_D = 0.5 * (flat_D + steep_D);
    double largest = 0.0;
    for (double axis_deg = 0.0; axis_deg < 180.0; axis_deg += 0.5) {
      const double seen = seen_axis_rad(axis_deg * rad, cornea, 4.5);
      largest = std::max(largest, axis_gap_deg(seen, axis_deg * rad));
      CHECK(axis_gap_deg(true_axis_rad(seen, cornea, 4.5), axis_deg * rad) < 1e-10);
    }
    CHECK(largest == Approx(largest_deg).margin(6e-4));
    // Marks on a principal meridian are seen where they are.
    CHECK(axis_gap_deg(seen_axis_rad(100.0 * rad, cornea, 4.5), 100.0 * rad) < 1e-10);
  }
}

TEST_CASE(
    "Vertex - F / (1 - v F), table value -10.00 at 12 mm is -8.93 at the cornea (textbook, from "
    "memory)") {
  check_lens(minus_cylinder_from(corneal_from_spectacle(vector_from(lens(-10.0, 0.0, 0.0)), 12.0)),
             lens(-8.9286, 0.0, 0.0), 6e-5, 180.0);
  check_lens(minus_cylinder_from(corneal_from_spectacle(vector_from(lens(10.0, 0.0, 0.0)), 12.0)),
             lens(11.3636, 0.0, 0.0), 6e-5, 180.0);
}

TEST_CASE(
    "Vertex of a sphero-cylinder acts on each principal power and leaves the axis (COMPUTED)") {
  // -6.00/-3.00x20 at 12 mm: -6/1.072 = -5.5970 and -9/1.108 = -8.1227
  const PowerVector corneal = corneal_from_spectacle(vector_from(lens(-6.0, -3.0, 20.0)), 12.0);
  check_lens(minus_cylinder_from(corneal), lens(-5.5970, -2.5257, 20.0));
  check_lens(minus_cylinder_from(spectacle_from_corneal(corneal, 12.0)), lens(-6.0, -3.0, 20.0),
             1e-9, 1e-9);
}

TEST_CASE(
    "The spectacle formula on the cylinder alone is wrong at the lens - Arch Ophthalmol "
    "2012;130:945 (SEEN)") {
  // E = F / (1 + (d/n) F) would take almost nothing off 3 D; the eye takes off more than a quarter.
  const LensPlane plane{4.6, 44.0, 0.0};
  CHECK(3.0 / (1.0 + 4.6e-3 / 1.336 * 3.0) > 2.95);
  CHECK(corneal_from_lens_cylinder(3.0, plane) < 2.2);
}
