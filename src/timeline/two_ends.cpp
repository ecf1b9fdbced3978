#include "timeline/two_ends.h"

#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "timeline/smoother.h"

namespace rhumb::timeline {
namespace {

using Eigen::Matrix3d;
using Eigen::Vector3d;

constexpr double vague_variance = 1.0;
constexpr double least_bend_rad = 3e-4;
constexpr double outlying = 2.5;

// State: the axis, the bend in units of its standard deviation, the centre's offset.
struct State {
  Vector3d mean = Vector3d::Zero();
  Matrix3d spread = Matrix3d::Zero();
};

Vector3d kept(const EndsFrame& frame) { return {1.0, frame.bend_kept, frame.centre_kept}; }

State predicted(const State& before, const EndsFrame& frame, double centre_sd) {
  const Vector3d keep = kept(frame);
  State out;
  out.mean = keep.cwiseProduct(before.mean);
  out.spread = keep.asDiagonal() * before.spread * keep.asDiagonal();
  out.spread(0, 0) += frame.step_sd_rad * frame.step_sd_rad;
  out.spread(1, 1) += 1.0 - frame.bend_kept * frame.bend_kept;
  out.spread(2, 2) += centre_sd * centre_sd * (1.0 - frame.centre_kept * frame.centre_kept);
  return out;
}

void take(State& state, const EndsFrame& frame, std::size_t which) {
  const EndReading& end = frame.end[which];
  const Vector3d sees(1.0, std::max(least_bend_rad, frame.bend_sd_rad), end.per_offset);
  const Vector3d towards = state.spread * sees;
  const Vector3d gain = towards / (sees.dot(towards) + frame.variance[which]);
  state.mean += gain * (end.value_rad - sees.dot(state.mean));
  state.spread -= gain * towards.transpose();
}

EndsState said(const State& state, const EndsFrame& frame) {
  EndsState out;
  out.axis_rad = state.mean(0);
  out.axis_var = std::max(0.0, state.spread(0, 0));
  out.bend_rad = std::max(least_bend_rad, frame.bend_sd_rad) * state.mean(1);
  out.offset = state.mean(2);
  out.offset_var = std::max(0.0, state.spread(2, 2));
  return out;
}

// Of what an end reads, given all frames: its own noise left out.
double variance_seen(const EndsState& state, const EndReading& end) {
  return state.axis_var + end.per_offset * end.per_offset * state.offset_var;
}

// Where the ends of each frame say the axis lies once the offset is known.
std::vector<Reading> beside_offsets(std::span<const EndsFrame> frames,
                                    std::span<const EndsState> states) {
  std::vector<Reading> out(frames.size());
  for (std::size_t k = 0; k < frames.size(); ++k) {
    double weights = 0.0;
    double sum = 0.0;
    for (std::size_t which = 0; which < 2; ++which) {
      const EndReading& end = frames[k].end[which];
      if (!end.given) continue;
      weights += 1.0 / frames[k].variance[which];
      sum += (end.value_rad - end.per_offset * states[k].offset) / frames[k].variance[which];
    }
    if (weights > 0.0) out[k] = {true, sum / weights, std::sqrt(1.0 / weights)};
  }
  return out;
}

}  // namespace

double free_step_rad(double since_s) { return 1.5 * since_s + 0.02 * std::sqrt(since_s); }

double centre_kept(const Step& step, double centre_sd) {
  const double turns = step.centre_drift / centre_sd;
  return std::exp(-0.5 * turns * turns * step.since_s);
}

std::vector<EndsState> smooth_states(std::span<const EndsFrame> frames, double start_rad,
                                     double centre_sd) {
  const std::size_t n = frames.size();
  std::vector<EndsState> out(n);
  if (n == 0) return out;
  std::vector<State> filtered(n);
  std::vector<State> ahead(n);
  State state;
  state.mean(0) = start_rad;
  state.spread.diagonal() << vague_variance, 1.0, centre_sd * centre_sd;
  for (std::size_t k = 0; k < n; ++k) {
    if (k > 0) state = predicted(state, frames[k], centre_sd);
    ahead[k] = state;
    for (std::size_t which = 0; which < 2; ++which)
      if (frames[k].end[which].given) take(state, frames[k], which);
    filtered[k] = state;
  }
  State later = filtered[n - 1];
  out[n - 1] = said(later, frames[n - 1]);
  for (std::size_t k = n - 1; k-- > 0;) {
    const Matrix3d gain =
        filtered[k].spread * kept(frames[k + 1]).asDiagonal() * ahead[k + 1].spread.inverse();
    State now;
    now.mean = filtered[k].mean + gain * (later.mean - ahead[k + 1].mean);
    now.spread =
        filtered[k].spread + gain * (later.spread - ahead[k + 1].spread) * gain.transpose();
    const double step = later.mean(0) - now.mean(0);
    const double joint = (gain * later.spread)(0, 0);
    out[k + 1].step_power =
        step * step + std::max(0.0, later.spread(0, 0) + now.spread(0, 0) - 2.0 * joint);
    out[k] = said(now, frames[k]);
    later = now;
  }
  return out;
}

std::vector<SmoothedEnds> smooth_ends(std::span<const TwoEnds> readings,
                                      std::span<const Step> steps, double centre_sd) {
  const std::size_t n = readings.size();
  std::vector<SmoothedEnds> out(n);
  std::vector<EndsFrame> frames(n);
  const EndReading* first = nullptr;
  for (std::size_t k = 0; k < n; ++k) {
    frames[k].end = readings[k];
    frames[k].step_sd_rad = steps[k].axis_sd_rad;
    frames[k].centre_kept = centre_kept(steps[k], centre_sd);
    for (std::size_t which = 0; which < 2; ++which) {
      const EndReading& end = readings[k][which];
      frames[k].variance[which] = end.se_rad * end.se_rad;
      if (first == nullptr && end.given) first = &end;
    }
  }
  if (first == nullptr) return out;
  std::vector<EndsState> states = smooth_states(frames, first->value_rad, centre_sd);
  for (int round = 0; round < 3; ++round) {
    for (std::size_t k = 0; k < n; ++k) {
      for (std::size_t which = 0; which < 2; ++which) {
        const EndReading& end = readings[k][which];
        if (!end.given) continue;
        const double se2 = end.se_rad * end.se_rad;
        const double off = end.value_rad - states[k].axis_rad - end.per_offset * states[k].offset;
        const double z = std::abs(off) / std::sqrt(se2 + variance_seen(states[k], end));
        frames[k].variance[which] = se2 * std::max(1.0, z / outlying);
      }
    }
    states = smooth_states(frames, first->value_rad, centre_sd);
  }
  std::vector<double> axis_steps(n);
  for (std::size_t k = 0; k < n; ++k) axis_steps[k] = steps[k].axis_sd_rad;
  const auto known = smooth(beside_offsets(frames, states), axis_steps);
  for (std::size_t k = 0; k < n; ++k) {
    const double noise = known[k].se_rad;
    out[k] = {states[k].axis_rad, noise,
              std::sqrt(std::max(0.0, states[k].axis_var - noise * noise))};
  }
  return out;
}

}  // namespace rhumb::timeline
