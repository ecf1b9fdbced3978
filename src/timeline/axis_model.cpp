#include "timeline/axis_model.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>

namespace rhumb::timeline {
namespace {

// States: for each lens a resting and a moving block, then the gap without a lens, then the steps
// that a gap takes at least. With a previous lens: Previous -> those steps -> gap -> New; without:
// gap -> New.
constexpr int blocks = 4;  // previous resting, previous moving, new resting, new moving
constexpr int gap_state = blocks * axis_count;
constexpr float impossible = -1e30F;

using StateVector = std::vector<float>;

struct Rates {
  float stay_rest = 0.0F;
  float start = 0.0F;
  float stay_moving = 0.0F;
  float stop = 0.0F;
  float enter = 0.0F;  // shared out over the axes
  float stay_gap = 0.0F;
  float leave = 0.0F;
  float unseen_moving = 0.0F;
  float unseen_resting = 0.0F;
  std::vector<float> spread_moving;  // log weight by |turn| in degrees, for a moving lens
  std::vector<float> spread_rest;
  int least_gap = 0;  // steps, before the one in the gap state itself
  int states() const { return gap_state + 1 + least_gap; }
  // Where a previous lens goes, and where the gap is entered from besides.
  int after_previous() const { return least_gap > 0 ? gap_state + 1 : gap_state; }
};

// Of a mixture of two normal distributions, the wider one with the share given.
std::vector<float> log_mixture_weights(double sigma_deg, double wide_sigma_deg, double wide_share) {
  const int reach =
      std::clamp(static_cast<int>(std::ceil(2.5 * wide_sigma_deg)), 1, axis_count / 2 - 1);
  std::vector<double> weight(static_cast<std::size_t>(reach) + 1);
  double sum = 0.0;
  for (int k = 0; k <= reach; ++k) {
    const auto density = [k](double sigma) {
      return std::exp(-0.5 * k * k / (sigma * sigma)) / sigma;
    };
    weight[static_cast<std::size_t>(k)] =
        (1.0 - wide_share) * density(sigma_deg) + wide_share * density(wide_sigma_deg);
    sum += (k == 0 ? 1.0 : 2.0) * weight[static_cast<std::size_t>(k)];
  }
  std::vector<float> out;
  out.reserve(weight.size());
  for (const double w : weight) {
    out.push_back(static_cast<float>(std::max(-60.0, std::log(std::max(w / sum, 1e-26)))));
  }
  return out;
}

float log_of(double probability) { return static_cast<float>(std::log(probability)); }

Rates rates_from(const AxisModelOptions& options) {
  const auto chance = [&](double rate_hz) { return 1.0 - std::exp(-rate_hz * options.step_s); };
  Rates rates;
  const double leave = chance(options.leave_rate_hz);
  const double start = chance(options.start_rate_hz);
  const double stop = chance(options.stop_rate_hz);
  const double enter = chance(options.enter_rate_hz);
  rates.leave = log_of(leave);
  rates.start = log_of(start);
  rates.stay_rest = log_of(1.0 - start - leave);
  rates.stop = log_of(stop);
  rates.stay_moving = log_of(1.0 - stop - leave);
  rates.enter = log_of(enter / (2.0 * axis_count));
  rates.stay_gap = log_of(1.0 - enter);
  rates.unseen_moving = static_cast<float>(-options.unseen_moving_cost_hz * options.step_s);
  rates.unseen_resting = static_cast<float>(-options.unseen_resting_cost_hz * options.step_s);
  rates.spread_moving =
      log_mixture_weights(std::max(0.6, options.moving_speed_deg_s * options.step_s),
                          std::max(1.0, options.jerk_speed_deg_s * options.step_s), 0.25);
  const double creep = std::max(0.2, options.rest_creep_deg_s * options.step_s);
  rates.spread_rest = log_mixture_weights(creep, creep, 0.0);
  if (options.previous_lens)
    rates.least_gap = std::max(0, static_cast<int>(options.least_gap_s / options.step_s) - 1);
  return rates;
}

float evidence_of(int state, const Rates& rates, const AxisEvidence& previous,
                  const AxisEvidence& current) {
  if (state >= gap_state) return 0.0F;
  const auto axis = static_cast<std::size_t>(state % axis_count);
  const int block = state / axis_count;
  if (block < 2) return previous.log_ratio[axis];
  return std::max(block == 3 ? rates.unseen_moving : rates.unseen_resting, current.log_ratio[axis]);
}

struct MaxPlus {
  float best = impossible;
  int from = -1;
  void offer(float value, int state) {
    if (value > best) {
      best = value;
      from = state;
    }
  }
};

float log_sum(float a, float b) {
  const float high = std::max(a, b);
  const float low = std::min(a, b);
  if (low <= impossible / 2) return high;
  return high + std::log1p(std::exp(low - high));
}

struct LogSum {
  float best = impossible;
  void offer(float value, int) { best = log_sum(best, value); }
};

// Offers to `into` every predecessor (forward) of a state, with the transition's log weight. The
// same list read backwards serves the backward pass: transitions between axes are symmetric.
template <typename Sink>
void offer_predecessors(int state, const StateVector& before, const Rates& rates,
                        bool previous_lens, Sink& into) {
  if (state > gap_state + 1) {
    into.offer(before[static_cast<std::size_t>(state - 1)], state - 1);
    return;
  }
  if (state >= gap_state) {
    const bool from_previous = state == rates.after_previous();
    if (state == gap_state) {
      into.offer(before[gap_state] + rates.stay_gap, gap_state);
      if (!from_previous) into.offer(before.back(), rates.states() - 1);
    }
    for (int from = 0; from < blocks * axis_count; ++from) {
      const bool new_lens = from / axis_count >= 2;
      if (state != (new_lens ? gap_state : rates.after_previous())) continue;
      // A previous lens goes before the new one comes; out of the new lens the way back is rarer
      // still.
      const float weight =
          new_lens ? rates.leave - 6.0F : rates.leave + (previous_lens ? 3.0F : 0.0F);
      into.offer(before[static_cast<std::size_t>(from)] + weight, from);
    }
    return;
  }
  const int block = state / axis_count;
  const int axis = state % axis_count;
  const bool moving = block % 2 == 1;
  const int rest_base = (block - (moving ? 1 : 0)) * axis_count;
  const int moving_base = rest_base + axis_count;
  const auto wrap = [](int value) { return (value + axis_count) % axis_count; };
  if (moving) {
    for (int turn = -static_cast<int>(rates.spread_moving.size()) + 1;
         turn < static_cast<int>(rates.spread_moving.size()); ++turn) {
      const int from = moving_base + wrap(axis - turn);
      into.offer(before[static_cast<std::size_t>(from)] + rates.stay_moving +
                     rates.spread_moving[static_cast<std::size_t>(std::abs(turn))],
                 from);
    }
    const int from = rest_base + axis;
    into.offer(before[static_cast<std::size_t>(from)] + rates.start, from);
  } else {
    for (int turn = -static_cast<int>(rates.spread_rest.size()) + 1;
         turn < static_cast<int>(rates.spread_rest.size()); ++turn) {
      const int from = rest_base + wrap(axis - turn);
      into.offer(before[static_cast<std::size_t>(from)] + rates.stay_rest +
                     rates.spread_rest[static_cast<std::size_t>(std::abs(turn))],
                 from);
    }
    const int from = moving_base + axis;
    into.offer(before[static_cast<std::size_t>(from)] + rates.stop, from);
  }
  if (block >= 2) into.offer(before[gap_state] + rates.enter, gap_state);
}

StateVector initial(bool previous_lens, const Rates& rates) {
  StateVector start(static_cast<std::size_t>(rates.states()), impossible);
  // A recording may start before the lens comes or with it in place.
  // With a previous lens it is there from the start, or nearly.
  const double there = previous_lens ? 0.98 : 0.5;
  const float in_view = log_of(there / axis_count);
  const int first = previous_lens ? 0 : 2 * axis_count;
  for (int state = first; state < first + axis_count; ++state)
    start[static_cast<std::size_t>(state)] = in_view;
  start[gap_state] = log_of(1.0 - there);
  return start;
}

// What the state in which a recording ends costs.
float at_the_end(int state, const AxisModelOptions& options) {
  if (!options.previous_lens) return 0.0F;
  const bool previous = state < gap_state && state / axis_count < 2;
  return log_of(previous ? options.ends_with_previous : 1.0 - options.ends_with_previous);
}

}  // namespace

AxisPath most_probable_path(std::span<const AxisEvidence> previous,
                            std::span<const AxisEvidence> current, const AxisModelOptions& options,
                            std::span<const char> lens_sure) {
  AxisPath path;
  const std::size_t steps = current.size();
  path.phase.assign(steps, Phase::None);
  path.axis_deg.assign(steps, -1);
  path.moving.assign(steps, false);
  path.evidence.assign(steps, 0.0F);
  if (steps == 0) return path;
  const Rates rates = rates_from(options);
  constexpr float against_the_known = -1e4F;
  const int first_state = options.previous_lens ? 0 : 2 * axis_count;
  const int states = rates.states();
  std::vector<std::vector<std::int16_t>> from(
      steps, std::vector<std::int16_t>(static_cast<std::size_t>(states), -1));
  StateVector score = initial(options.previous_lens, rates);
  for (int state = 0; state < states; ++state) {
    score[static_cast<std::size_t>(state)] += evidence_of(state, rates, previous[0], current[0]);
  }
  StateVector next(static_cast<std::size_t>(states), impossible);
  for (std::size_t step = 1; step < steps; ++step) {
    for (int state = first_state; state < states; ++state) {
      MaxPlus sink;
      offer_predecessors(state, score, rates, options.previous_lens, sink);
      next[static_cast<std::size_t>(state)] =
          sink.best + evidence_of(state, rates, previous[step], current[step]);
      from[step][static_cast<std::size_t>(state)] = static_cast<std::int16_t>(sink.from);
    }
    if (!lens_sure.empty() && lens_sure[step] != 0) {
      for (int state = gap_state; state < states; ++state)
        next[static_cast<std::size_t>(state)] += against_the_known;
    }
    std::swap(score, next);
  }
  for (int state = 0; state < states; ++state)
    score[static_cast<std::size_t>(state)] += at_the_end(state, options);
  int state = static_cast<int>(std::max_element(score.begin(), score.end()) - score.begin());
  path.log_prior = static_cast<double>(score[static_cast<std::size_t>(state)]);
  for (std::size_t step = steps; step-- > 0;) {
    if (state < gap_state) {
      path.phase[step] = state / axis_count < 2 ? Phase::Previous : Phase::New;
      path.axis_deg[step] = state % axis_count;
      path.moving[step] = (state / axis_count) % 2 == 1;
      path.evidence[step] = evidence_of(state, rates, previous[step], current[step]);
      path.log_ratio += path.evidence[step];
    }
    if (step > 0) state = from[step][static_cast<std::size_t>(state)];
  }
  path.log_prior -= path.log_ratio;
  return path;
}

namespace {

// Backward message: for each state, the log weight of all that follows.
void step_back(const StateVector& after, const Rates& rates, bool previous_lens, StateVector& out) {
  const auto wrap = [](int value) { return (value + axis_count) % axis_count; };
  float enter = impossible;
  for (int state = 2 * axis_count; state < gap_state; ++state) {
    enter = log_sum(enter, after[static_cast<std::size_t>(state)] + rates.enter);
  }
  out[gap_state] = log_sum(after[gap_state] + rates.stay_gap, enter);
  for (int state = gap_state + 1; state < rates.states(); ++state) {
    const int next = state + 1 < rates.states() ? state + 1 : gap_state;
    out[static_cast<std::size_t>(state)] = after[static_cast<std::size_t>(next)];
  }
  for (int state = previous_lens ? 0 : 2 * axis_count; state < gap_state; ++state) {
    const int block = state / axis_count;
    const int axis = state % axis_count;
    const bool moving = block % 2 == 1;
    const int rest_base = (block - (moving ? 1 : 0)) * axis_count;
    const auto& spread = moving ? rates.spread_moving : rates.spread_rest;
    const int own_base = moving ? rest_base + axis_count : rest_base;
    const int other = (moving ? rest_base : rest_base + axis_count) + axis;
    float sum = after[static_cast<std::size_t>(other)] + (moving ? rates.stop : rates.start);
    for (int turn = -static_cast<int>(spread.size()) + 1; turn < static_cast<int>(spread.size());
         ++turn) {
      const int next = own_base + wrap(axis + turn);
      sum = log_sum(sum, after[static_cast<std::size_t>(next)] +
                             (moving ? rates.stay_moving : rates.stay_rest) +
                             spread[static_cast<std::size_t>(std::abs(turn))]);
    }
    const float leave =
        block >= 2 ? rates.leave - 6.0F : rates.leave + (previous_lens ? 3.0F : 0.0F);
    const int gone = block >= 2 ? gap_state : rates.after_previous();
    out[static_cast<std::size_t>(state)] =
        log_sum(sum, after[static_cast<std::size_t>(gone)] + leave);
  }
}

}  // namespace

void subtract_standing_clutter(const AxisPath& path, std::span<AxisEvidence> previous,
                               std::span<AxisEvidence> current) {
  for (const bool is_new : {false, true}) {
    const std::span<AxisEvidence> evidence = is_new ? current : previous;
    const Phase phase = is_new ? Phase::New : Phase::Previous;
    std::array<float, axis_count> standing{};
    std::vector<float> values;
    for (int axis = 0; axis < axis_count; ++axis) {
      values.clear();
      for (std::size_t step = 0; step < evidence.size(); ++step) {
        if (path.phase[step] != phase || path.moving[step]) continue;
        if (degrees_apart(axis, path.axis_deg[step]) <= 12) continue;
        // Only where the lens itself is clearly seen at its own place.
        if (evidence[step].log_ratio[static_cast<std::size_t>(path.axis_deg[step])] <= 1.0F)
          continue;
        values.push_back(evidence[step].log_ratio[static_cast<std::size_t>(axis)]);
      }
      if (values.size() < 4) continue;
      const auto place = values.begin() + static_cast<std::ptrdiff_t>(3 * (values.size() - 1) / 4);
      std::nth_element(values.begin(), place, values.end());
      standing[static_cast<std::size_t>(axis)] = std::max(0.0F, *place);
    }
    for (AxisEvidence& step : evidence) {
      for (int axis = 0; axis < axis_count; ++axis) {
        // The clutter is as wide as its neighbours' evidence: the highest within three degrees.
        float clutter = 0.0F;
        for (int turn = -3; turn <= 3; ++turn) {
          clutter = std::max(
              clutter, standing[static_cast<std::size_t>((axis + turn + axis_count) % axis_count)]);
        }
        step.log_ratio[static_cast<std::size_t>(axis)] -= clutter;
      }
    }
  }
}

AxisPosterior posterior_about(const AxisPath& path, std::span<const AxisEvidence> previous,
                              std::span<const AxisEvidence> current,
                              const AxisModelOptions& options) {
  const std::size_t steps = current.size();
  AxisPosterior out;
  out.lens.assign(steps, 0.0F);
  out.near_path.assign(steps, 0.0F);
  out.moving.assign(steps, 0.0F);
  if (steps == 0) return out;
  const Rates rates = rates_from(options);
  const int first_state = options.previous_lens ? 0 : 2 * axis_count;
  const int states = rates.states();
  const StateVector none(static_cast<std::size_t>(states), impossible);
  std::vector<StateVector> forward(steps, none);
  forward[0] = initial(options.previous_lens, rates);
  for (std::size_t step = 0; step < steps; ++step) {
    for (int state = first_state; state < states; ++state) {
      if (step > 0) {
        LogSum sink;
        offer_predecessors(state, forward[step - 1], rates, options.previous_lens, sink);
        forward[step][static_cast<std::size_t>(state)] = sink.best;
      }
      forward[step][static_cast<std::size_t>(state)] +=
          evidence_of(state, rates, previous[step], current[step]);
    }
  }
  StateVector backward(static_cast<std::size_t>(states), 0.0F);
  for (int state = 0; state < states; ++state)
    backward[static_cast<std::size_t>(state)] = at_the_end(state, options);
  StateVector weighted = none;
  for (std::size_t step = steps; step-- > 0;) {
    if (step + 1 < steps) {
      for (int state = 0; state < states; ++state) {
        weighted[static_cast<std::size_t>(state)] =
            backward[static_cast<std::size_t>(state)] +
            evidence_of(state, rates, previous[step + 1], current[step + 1]);
      }
      step_back(weighted, rates, options.previous_lens, backward);
    }
    float highest = impossible;
    for (int state = first_state; state < states; ++state) {
      const auto index = static_cast<std::size_t>(state);
      highest = std::max(highest, forward[step][index] + backward[index]);
    }
    double all = 0.0;
    double lens = 0.0;
    double near = 0.0;
    double moving = 0.0;
    const int own_block = path.phase[step] == Phase::Previous ? 0 : 2;
    for (int state = first_state; state < states; ++state) {
      const auto index = static_cast<std::size_t>(state);
      const double weight = std::exp(forward[step][index] + backward[index] - highest);
      all += weight;
      if (state >= gap_state) continue;
      lens += weight;
      if ((state / axis_count) % 2 == 1) moving += weight;
      const bool same_lens = state / axis_count == own_block || state / axis_count == own_block + 1;
      if (same_lens && path.axis_deg[step] >= 0 &&
          degrees_apart(state % axis_count, path.axis_deg[step]) <= 3) {
        near += weight;
      }
    }
    out.lens[step] = static_cast<float>(lens / all);
    out.near_path[step] = static_cast<float>(near / all);
    out.moving[step] = static_cast<float>(moving / all);
  }
  return out;
}

}  // namespace rhumb::timeline
