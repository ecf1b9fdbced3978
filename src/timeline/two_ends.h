// One lens read by its two ends: the axis, the place of the lens's centre across it, and what bends
// the line of sight, as one state over time.
#pragma once

#include <array>
#include <span>
#include <vector>

namespace rhumb::timeline {

// value = axis + per_offset * offset of the lens's centre across the axis (+ bend) + noise. Seen
// from one end alone, an offset is a turn.
struct EndReading {
  bool given = false;
  double value_rad = 0.0;  // unwrapped: readings of one lens never jump by pi
  double se_rad = 1e3;
  double per_offset = 0.0;  // one over the end's distance from the centre, signed
};
using TwoEnds = std::array<EndReading, 2>;

// From the frame before to this one.
struct Step {
  double since_s = 0.0;
  double axis_sd_rad = 0.0;
  double centre_drift = 0.012;  // limbal radii in a root second, across the axis
};

// A lens that is turned moves at tens of degrees a second, and jerks at more.
double free_step_rad(double since_s);

// A frame as the filter takes it.
struct EndsFrame {
  TwoEnds end;
  std::array<double, 2> variance{};  // of the readings
  double step_sd_rad = 0.0;          // of the axis, from the frame before
  double bend_sd_rad = 0.0;
  double bend_kept = 1.0;    // from the frame before
  double centre_kept = 1.0;  // from the frame before
};

// Of each frame given all frames.
struct EndsState {
  double axis_rad = 0.0;
  double axis_var = 0.0;
  double bend_rad = 0.0;
  double offset = 0.0;
  double offset_var = 0.0;
  double step_power = 0.0;  // expected square of the axis's step to this frame
};

// Share of the centre's offset that is kept over a step: it wanders about its supposed place as a
// stationary process (Ornstein and Uhlenbeck) of standard deviation centre_sd.
double centre_kept(const Step& step, double centre_sd);

// Kalman filter and backward pass (Rauch, Tung and Striebel, AIAA J 1965;3:1445-1450, from memory).
// start_rad: about which the axis is vague to a radian; centre_sd: of the offset.
std::vector<EndsState> smooth_states(std::span<const EndsFrame> frames, double start_rad,
                                     double centre_sd);

// What the axis is seen at, and where the centre lies.
struct SmoothedEnds {
  double value_rad = 0.0;
  double noise_se_rad = 1e3;   // from the readings' noise, were the centre known
  double centre_se_rad = 0.0;  // from not knowing the centre
};

// Axis against time where nothing bends; an entry a frame. Readings beyond 2.5 of their own
// standard errors count less (Huber). Standard errors grow with the walk before the first and after
// the last reading; 1e3 without any.
std::vector<SmoothedEnds> smooth_ends(std::span<const TwoEnds> readings,
                                      std::span<const Step> steps, double centre_sd);

}  // namespace rhumb::timeline
