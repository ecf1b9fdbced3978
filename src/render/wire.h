// Polished metal and plastic: round rods drawn with the light that their curvature would show.
#pragma once

#include <functional>

#include "render/texture.h"

namespace rhumb::render {

struct RodLook {
  Vec4 base{0.16F, 0.165F, 0.17F, 0.0F};  // linear light under full illumination
  float shine = 1.0F;                     // strength of the bright line along it
  float opacity = 1.0F;
};

// Coverage and light of a rod at signed distance `across` (in half-widths, -1..1) from its middle
// line.
Vec4 rod_light(const RodLook& look, float across, float along);

// Calls put(x, y, across, along, cover) for every pixel that a tapering rod along the polyline
// touches within rows [y0, y1): positions and half-widths in pixels; `across` in half-widths;
// `along` in pixels from the start.
using PutRod = std::function<void(int x, int y, float across, float along, float cover)>;
void trace_rod(const std::vector<Point>& points, const std::vector<double>& half_widths,
               int columns, int y0, int y1, const PutRod& put);

}  // namespace rhumb::render
