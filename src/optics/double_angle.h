// Points of the double-angle plane, their centroid and ellipses.
//
// An astigmatism M at meridian a is the point (M cos 2a, M sin 2a) (Holladay; Abulafia et al., J
// Cataract Refract Surg 2018). In J0 and J45 the same point lies at half the distance.
#pragma once

#include <optional>
#include <span>

#include "optics/power.h"

namespace rhumb::optics {

struct PlanePoint {
  double x = 0.0;
  double y = 0.0;
};

PlanePoint double_angle_from(const Astigmatism& astigmatism);
Astigmatism astigmatism_from(const PlanePoint& double_angle);

// An ellipse in such a plane, in its units.
struct PlotEllipse {
  double semi_major_D = 0.0;
  double semi_minor_D = 0.0;
  double angle_rad = 0.0;  // of the major axis, [0, pi), from x towards y
};

struct PlaneCovariance {
  double xx = 0.0;
  double xy = 0.0;
  double yy = 0.0;
};
// The points at a squared Mahalanobis distance. chi_square_95 holds 95 % of a normal distribution
// of known covariance in two dimensions: -2 ln 0.05.
inline constexpr double chi_square_95 = 5.991464547107979;
PlotEllipse ellipse_from(const PlaneCovariance& covariance,
                         double squared_distance = chi_square_95);

struct Centroid {
  PlanePoint mean;
  PlaneCovariance covariance;  // of the points, divisor n - 1
  PlotEllipse of_mean;         // holds the true centroid with 95 % (Hotelling's T^2)
  PlotEllipse of_points;       // holds a further point with 95 %
};
// Empty with fewer than three points: there is no ellipse. Ellipses: Hotelling's T^2 with
// F(0.95; 2, n - 2), whose closed form is (n - 2)/2 (0.05^(-2/(n-2)) - 1).
std::optional<Centroid> centroid(std::span<const PlanePoint> points);

}  // namespace rhumb::optics
