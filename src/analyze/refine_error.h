// How far refined readings can be trusted, from the readings themselves.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analyze/axis_history.h"
#include "analyze/frames.h"
#include "analyze/refine.h"
#include "analyze/track.h"
#include "timeline/smoother.h"

namespace rhumb::analyze {

// Standard error of an end's turn: a strip that holds more than the marks (an instrument's edge, a
// bubble) is as bad as its misfit says.
double honest_se(const lens::TurnEstimate& end);

// Observed scatter from frame to frame of a resting lens over what the fits say, 1.5 where too few
// frames tell.
double robust_scatter(const Track& track, const std::vector<Solved>& solved);

// The end (0: A, 1: B) whose turns scatter less from frame to frame while the lens rests, where the
// other's scatter half as much again: that one is clutter, or something moves over it.
std::optional<int> steadier_end(const Track& track, const std::vector<EndPair>& ends);

// Scatter of means over 0.4 s of a resting lens over what independent readings and the lens's own
// creep would give, at least 1: compression holds a frame's faint marks still for a while, so
// neighbouring readings share errors.
double slow_excess(const Track& track, std::span<const timeline::Reading> readings,
                   std::span<const double> time_s);

// By entry of the track: how far the smoothed axis wanders about a straight line over the stretch
// in which the lens rests, root mean square; 0 while it moves and in stretches shorter than a
// second. A resting lens does not wander, so this is error that no single reading knows of.
std::vector<double> wander(const Track& track, const AxisHistory& history,
                           std::span<const double> time_s);

// Fills when the lens's surroundings were settled.
void find_settled(const Track& track, const FrameReading& coarse, std::span<const double> time_s,
                  FineReport& report);

}  // namespace rhumb::analyze
