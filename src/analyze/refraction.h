// What refraction between lens and cornea does to the axis, and how much of it can be told from the
// axis's own history.
#pragma once

#include <span>

#include "analyze/chamber.h"
#include "analyze/refine.h"

namespace rhumb::analyze {

// Standard deviation of the direction between two marks as it is seen at a frame: from the iris
// where it tells, else by whether viscoelastic may be in the eye.
double refraction_se(const ChamberReading& chamber, const FineReading& fine,
                     std::span<const double> time_s, std::size_t frame);

// The same of FineAxis::axis_rad, after take_off_refraction.
double left_refraction_se(const ChamberReading& chamber, const FineReading& fine,
                          std::span<const double> time_s, std::size_t frame);

// Fills FineAxis::axis_rad anew: a resting lens keeps its axis (timeline/unbend.h), so what wanders
// while it rests is what bends. Nothing is changed where the iris does not tell.
void take_off_refraction(const ChamberReading& chamber, std::span<const double> time_s,
                         FineReading& fine);

}  // namespace rhumb::analyze
