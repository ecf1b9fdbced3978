// Axis against time from single readings: a random walk whose step size is known, seen with noise.
#pragma once

#include <span>
#include <vector>

namespace rhumb::timeline {

struct Reading {
  bool given = false;
  double value_rad = 0.0;  // unwrapped: readings of one lens never jump by pi
  double se_rad = 0.0;
};

struct Smoothed {
  double value_rad = 0.0;
  double se_rad = 1e3;
};

// `step_sd_rad[k]`: standard deviation of the change from k-1 to k. Forward Kalman filter and
// backward pass (Rauch, Tung and Striebel, AIAA J 1965;3:1445-1450, from memory), three times over
// with readings that lie beyond 2.5 of their own standard errors given less weight (Huber). Before
// the first and after the last reading the standard error grows with the walk.
std::vector<Smoothed> smooth(std::span<const Reading> readings,
                             std::span<const double> step_sd_rad);

}  // namespace rhumb::timeline
