#include "optics/vergence.h"

#include <cmath>

#include "angle/angle.h"

namespace rhumb::optics {
namespace {

double carried(double vergence_D, double reduced_m) {
  return vergence_D / (1.0 - reduced_m * vergence_D);
}

double reduced_distance_m(const LensPlane& plane) {
  return plane.effective_position_mm * 1e-3 / plane.index;
}

double vergence_at_lens(const LensPlane& plane) {
  return carried(plane.cornea_D + plane.refraction_D, reduced_distance_m(plane));
}

// How much more the steep meridian is magnified than the flat one.
double relative_magnification(const PowerVector& cornea, double depth_mm) {
  const double reduced_m = depth_mm * 1e-3 / aqueous_index;
  const double half = 0.5 * cylinder_of(cornea);
  return (1.0 - reduced_m * (cornea.m_D - half)) / (1.0 - reduced_m * (cornea.m_D + half));
}

double stretched_axis_rad(double axis_rad, double along_rad, double stretch) {
  const double from_along = axis_rad - along_rad;
  return angle::wrap_axis(along_rad +
                          std::atan2(std::sin(from_along), stretch * std::cos(from_along)));
}

}  // namespace

PowerVector propagated(const PowerVector& vergence, double distance_m, double index) {
  const double reduced_m = distance_m / index;
  const Astigmatism astigmatism = astigmatism_of(vergence);
  const double half = 0.5 * astigmatism.magnitude_D;
  const double steep = carried(vergence.m_D + half, reduced_m);
  const double flat = carried(vergence.m_D - half, reduced_m);
  PowerVector result = vector_from(Astigmatism{steep - flat, astigmatism.steep_rad});
  result.m_D = 0.5 * (steep + flat);
  return result;
}

PowerVector corneal_from_spectacle(const PowerVector& refraction, double vertex_mm) {
  return propagated(refraction, vertex_mm * 1e-3, 1.0);
}

PowerVector spectacle_from_corneal(const PowerVector& refraction, double vertex_mm) {
  return propagated(refraction, -vertex_mm * 1e-3, 1.0);
}

double plane_ratio(const LensPlane& plane) {
  const double shrink = 1.0 - reduced_distance_m(plane) * (plane.cornea_D + plane.refraction_D);
  return 1.0 / (shrink * shrink);
}

double corneal_from_lens_cylinder(double cylinder_D, const LensPlane& plane) {
  const double at_lens = vergence_at_lens(plane);
  const double back_m = -reduced_distance_m(plane);
  return carried(at_lens + 0.5 * cylinder_D, back_m) - carried(at_lens - 0.5 * cylinder_D, back_m);
}

double lens_from_corneal_cylinder(double cylinder_D, const LensPlane& plane) {
  // Newton's method on the exact forward form; the ratio is a start within a few per mille.
  double lens_D = cylinder_D * plane_ratio(plane);
  for (int round = 0; round < 4; ++round)
    lens_D += (cylinder_D - corneal_from_lens_cylinder(lens_D, plane)) * plane_ratio(plane);
  return lens_D;
}

PowerVector lens_for(const PowerVector& cornea, const PowerVector& refraction,
                     double effective_position_mm, double eye_length_mm, double index) {
  const double image_D = index / ((eye_length_mm - effective_position_mm) * 1e-3);
  const PowerVector at_lens = propagated(cornea + refraction, effective_position_mm * 1e-3, index);
  return PowerVector{image_D, 0.0, 0.0} - at_lens;
}

double implied_eye_length_mm(double lens_D, const LensPlane& plane) {
  return plane.effective_position_mm + 1e3 * plane.index / (vergence_at_lens(plane) + lens_D);
}

double seen_axis_rad(double true_axis_rad, const PowerVector& cornea, double depth_mm) {
  return stretched_axis_rad(true_axis_rad, astigmatism_of(cornea).steep_rad,
                            relative_magnification(cornea, depth_mm));
}

double true_axis_rad(double seen_axis_rad, const PowerVector& cornea, double depth_mm) {
  return stretched_axis_rad(seen_axis_rad, astigmatism_of(cornea).steep_rad,
                            1.0 / relative_magnification(cornea, depth_mm));
}

}  // namespace rhumb::optics
