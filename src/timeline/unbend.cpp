#include "timeline/unbend.h"

#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

namespace rhumb::timeline {
namespace {

using Eigen::Matrix2d;
using Eigen::Vector2d;

constexpr int rounds = 12;
constexpr double bend_lasts_s = 2.0;
constexpr double bend_turns_rad = 0.05;
// Steps of a resting lens, standard deviation in a root second: where learning starts, and what the
// prior expects; the prior's weight in readings.
constexpr double first_creep_rad = 0.002;
constexpr double usual_creep_rad = 0.0005;
constexpr double prior_weight = 0.3;
constexpr double window_s = 0.15;  // either side
constexpr double least_bend_rad = 3e-4;
constexpr double least_se_rad = 3e-4;
constexpr double vague_variance = 1.0;

// A lens that is turned moves at tens of degrees a second, and jerks at more.
double free_step(double since_s) { return 1.5 * since_s + 0.02 * std::sqrt(since_s); }

// State: the axis and the bend in units of its standard deviation.
struct State {
  Vector2d mean = Vector2d::Zero();
  Matrix2d spread = Matrix2d::Zero();
};

struct Run {
  std::vector<State> smooth;
  std::vector<double> step_power;  // expected square of the axis's step to each frame
};

double bend_kept(const BentReading& frame) {
  return std::exp(-frame.since_s / bend_lasts_s - frame.turned_rad / bend_turns_rad);
}

State predicted(const State& before, const BentReading& frame, double step_sd) {
  const double kept = bend_kept(frame);
  State out = before;
  out.mean.y() *= kept;
  out.spread.row(1) *= kept;
  out.spread.col(1) *= kept;
  out.spread(0, 0) += step_sd * step_sd;
  out.spread(1, 1) += 1.0 - kept * kept;
  return out;
}

void take(State& state, const BentReading& frame, double variance) {
  const Vector2d sees(1.0, std::max(least_bend_rad, frame.bend_sd_rad));
  const Vector2d towards = state.spread * sees;
  const Vector2d gain = towards / (sees.dot(towards) + variance);
  state.mean += gain * (frame.seen.value_rad - sees.dot(state.mean));
  state.spread -= gain * towards.transpose();
}

Run run(std::span<const BentReading> frames, std::span<const double> steps,
        std::span<const double> variance, double start_rad) {
  const std::size_t n = frames.size();
  std::vector<State> filtered(n);
  std::vector<State> ahead(n);
  State state{{start_rad, 0.0}, vague_variance * Matrix2d::Identity()};
  for (std::size_t k = 0; k < n; ++k) {
    if (k > 0) state = predicted(state, frames[k], steps[k]);
    ahead[k] = state;
    if (frames[k].seen.given) take(state, frames[k], variance[k]);
    filtered[k] = state;
  }
  Run out{filtered, std::vector<double>(n, 0.0)};
  for (std::size_t k = n - 1; k-- > 0;) {
    const State& later = out.smooth[k + 1];
    Matrix2d cross = filtered[k].spread;
    cross.col(1) *= bend_kept(frames[k + 1]);
    const Matrix2d gain = cross * ahead[k + 1].spread.inverse();
    out.smooth[k].mean += gain * (later.mean - ahead[k + 1].mean);
    out.smooth[k].spread += gain * (later.spread - ahead[k + 1].spread) * gain.transpose();
    const double step = later.mean.x() - out.smooth[k].mean.x();
    const double joint = (gain * later.spread)(0, 0);
    out.step_power[k + 1] =
        step * step + std::max(0.0, later.spread(0, 0) + out.smooth[k].spread(0, 0) - 2.0 * joint);
  }
  return out;
}

// Steps of a resting lens from what the last run made of them, averaged over the window.
void learn_steps(std::span<const BentReading> frames, const Run& last, std::vector<double>& steps) {
  const std::size_t n = frames.size();
  std::vector<double> at(n, 0.0);
  std::vector<double> power(n + 1, 0.0);
  std::vector<double> time(n + 1, 0.0);
  for (std::size_t k = 0; k < n; ++k) {
    at[k] = (k > 0 ? at[k - 1] : 0.0) + frames[k].since_s;
    power[k + 1] = power[k] + (frames[k].rests ? last.step_power[k] : 0.0);
    time[k + 1] = time[k] + (frames[k].rests ? frames[k].since_s : 0.0);
  }
  std::size_t from = 0;
  std::size_t to = 0;
  for (std::size_t k = 0; k < n; ++k) {
    while (at[from] < at[k] - window_s) ++from;
    while (to < n && at[to] <= at[k] + window_s) ++to;
    if (!frames[k].rests) continue;
    const double rate = (power[to] - power[from]) / std::max(1e-3, time[to] - time[from]);
    const double prior = prior_weight * usual_creep_rad * usual_creep_rad;
    const double variance = frames[k].since_s * (prior + rate) / (1.0 + prior_weight);
    steps[k] = std::min(free_step(frames[k].since_s), std::sqrt(variance));
  }
}

}  // namespace

std::vector<double> unbend(std::span<const BentReading> frames) {
  std::vector<double> axis(frames.size(), 0.0);
  const auto first = std::find_if(frames.begin(), frames.end(),
                                  [](const BentReading& frame) { return frame.seen.given; });
  if (first == frames.end()) return axis;
  std::vector<double> steps;
  std::vector<double> usual;
  for (const BentReading& frame : frames) {
    steps.push_back(frame.rests ? first_creep_rad * std::sqrt(frame.since_s)
                                : free_step(frame.since_s));
    usual.push_back(std::pow(std::max(least_se_rad, frame.seen.se_rad), 2.0));
  }
  std::vector<double> variance = usual;
  for (int round = 0; round < rounds; ++round) {
    const Run now = run(frames, steps, variance, first->seen.value_rad);
    for (std::size_t k = 0; k < frames.size(); ++k) {
      axis[k] = now.smooth[k].mean.x();
      if (!frames[k].seen.given) continue;
      const double bend = std::max(least_bend_rad, frames[k].bend_sd_rad) * now.smooth[k].mean.y();
      const double off = std::abs(frames[k].seen.value_rad - axis[k] - bend);
      variance[k] = usual[k] * std::max(1.0, off / (2.5 * std::sqrt(usual[k])));
    }
    learn_steps(frames, now, steps);
  }
  return axis;
}

}  // namespace rhumb::timeline
