// The axis of a lens that is seen through something that bends the line of sight.
#pragma once

#include <span>
#include <vector>

#include "timeline/two_ends.h"

namespace rhumb::timeline {

// One frame of one stay of a lens.
struct BentReading {
  TwoEnds end;
  Step step;                 // where it does not rest
  double turned_rad = 0.0;   // the path's turn from the frame before
  bool rests = false;        // from the frame before
  double bend_sd_rad = 0.0;  // standard deviation of seen minus true axis, all frames alike
};

// The true axis by frame: what an end sees = axis + bend + what the centre's offset makes + noise.
// The axis is a random walk, free where the lens does not rest. A resting lens is held by the
// capsule: it keeps its axis but for rare moves, so the variance of its steps is learned, frame by
// frame over 0.3 s, under a prior of almost none (expectation maximisation, as in sparse Bayesian
// learning: Tipping, J Mach Learn Res 2001;1:211, from memory). The bend is a stationary process
// (Ornstein and Uhlenbeck) of 2 s that forgets within 3 degrees of turn, when marks are seen
// through other parts of what bends. Kalman filter and smoother as in two_ends.h, readings
// beyond 2.5 of their standard errors given less weight. An entry a frame; without any reading all
// 0.
std::vector<double> unbend(std::span<const BentReading> frames, double centre_sd);

}  // namespace rhumb::timeline
