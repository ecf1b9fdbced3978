#include "timeline/unbend.h"

#include <algorithm>
#include <cmath>

namespace rhumb::timeline {
namespace {

constexpr int rounds = 12;
constexpr double bend_lasts_s = 2.0;
constexpr double bend_turns_rad = 0.05;
// Steps of a resting lens, standard deviation in a root second: where learning starts, and what the
// prior expects; the prior's weight in readings.
constexpr double first_creep_rad = 0.002;
constexpr double usual_creep_rad = 0.0005;
constexpr double prior_weight = 0.3;
constexpr double window_s = 0.15;  // either side
constexpr double least_se_rad = 3e-4;

double usual_variance(const EndReading& end) {
  return std::pow(std::max(least_se_rad, end.se_rad), 2.0);
}

double bend_kept(const BentReading& frame) {
  return std::exp(-frame.step.since_s / bend_lasts_s - frame.turned_rad / bend_turns_rad);
}

// Steps of a resting lens from what the last run made of them, averaged over the window.
void learn_steps(std::span<const BentReading> frames, const std::vector<EndsState>& last,
                 std::vector<EndsFrame>& now) {
  const std::size_t n = frames.size();
  std::vector<double> at(n, 0.0);
  std::vector<double> power(n + 1, 0.0);
  std::vector<double> time(n + 1, 0.0);
  for (std::size_t k = 0; k < n; ++k) {
    at[k] = (k > 0 ? at[k - 1] : 0.0) + frames[k].step.since_s;
    power[k + 1] = power[k] + (frames[k].rests ? last[k].step_power : 0.0);
    time[k + 1] = time[k] + (frames[k].rests ? frames[k].step.since_s : 0.0);
  }
  std::size_t from = 0;
  std::size_t to = 0;
  for (std::size_t k = 0; k < n; ++k) {
    while (at[from] < at[k] - window_s) ++from;
    while (to < n && at[to] <= at[k] + window_s) ++to;
    if (!frames[k].rests) continue;
    const double rate = (power[to] - power[from]) / std::max(1e-3, time[to] - time[from]);
    const double prior = prior_weight * usual_creep_rad * usual_creep_rad;
    const double variance = frames[k].step.since_s * (prior + rate) / (1.0 + prior_weight);
    now[k].step_sd_rad = std::min(free_step_rad(frames[k].step.since_s), std::sqrt(variance));
  }
}

}  // namespace

std::vector<double> unbend(std::span<const BentReading> frames, double centre_sd) {
  std::vector<double> axis(frames.size(), 0.0);
  std::vector<EndsFrame> now(frames.size());
  const EndReading* first = nullptr;
  for (std::size_t k = 0; k < frames.size(); ++k) {
    const BentReading& frame = frames[k];
    now[k].end = frame.end;
    now[k].step_sd_rad =
        frame.rests ? first_creep_rad * std::sqrt(frame.step.since_s) : frame.step.axis_sd_rad;
    now[k].bend_sd_rad = frame.bend_sd_rad;
    now[k].bend_kept = bend_kept(frame);
    now[k].centre_kept = centre_kept(frame.step, centre_sd);
    for (std::size_t which = 0; which < 2; ++which) {
      now[k].variance[which] = usual_variance(frame.end[which]);
      if (first == nullptr && frame.end[which].given) first = &frame.end[which];
    }
  }
  if (first == nullptr) return axis;
  for (int round = 0; round < rounds; ++round) {
    const std::vector<EndsState> states = smooth_states(now, first->value_rad, centre_sd);
    for (std::size_t k = 0; k < frames.size(); ++k) {
      axis[k] = states[k].axis_rad;
      for (std::size_t which = 0; which < 2; ++which) {
        const EndReading& end = frames[k].end[which];
        if (!end.given) continue;
        const double usual = usual_variance(end);
        const double off = std::abs(end.value_rad - axis[k] - states[k].bend_rad -
                                    end.per_offset * states[k].offset);
        now[k].variance[which] = usual * std::max(1.0, off / (2.5 * std::sqrt(usual)));
      }
    }
    learn_steps(frames, states, now);
  }
  return axis;
}

}  // namespace rhumb::timeline
