// A hidden Markov model of which lens lies in the eye, whether it moves, and at which axis.
//
// Evidence comes as a log likelihood ratio by axis for each step (a frame or a short window)
// against "no marks". What is not a state of the model costs nothing: a step without evidence is
// all zeros. Method: forward and backward recursion, and the Viterbi path (Rabiner, Proc IEEE
// 1989;77:257-286, from memory).
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdlib>
#include <span>
#include <vector>

namespace rhumb::timeline {

inline constexpr int axis_count = 180;  // one state a degree

// Between two axes in whole degrees, 0 .. 179 each: 0 to 90.
inline int degrees_apart(int a, int b) {
  const int apart = std::abs(a - b);
  return std::min(apart, axis_count - apart);
}

struct AxisEvidence {
  std::array<float, axis_count> log_ratio{};
};

enum class Phase { None, Previous, New };

struct AxisModelOptions {
  double step_s = 0.04;        // time between steps
  bool previous_lens = false;  // the recording starts with a previous lens, which is taken out
  // Share of recordings of an exchange that stop before the previous lens is out. The two lenses'
  // marks may be alike, and then only this tells a new lens from the previous one turned.
  double ends_with_previous = 0.01;
  double stop_rate_hz = 2.0;    // how often a moving lens comes to rest
  double start_rate_hz = 0.25;  // how often a resting lens is moved
  double enter_rate_hz = 0.05;  // how often a lens comes into view
  double leave_rate_hz = 0.01;  // how often it goes: a new lens stays
  // The least time between two lenses: one is drawn out, another brought. Common practice, no
  // source.
  double least_gap_s = 1.0;
  double moving_speed_deg_s = 40;  // standard deviation of a moving lens's turning speed, as a rule
  double jerk_speed_deg_s = 200;   // and in one step of four, when a hook jerks it on
  // What it may cost, as a log likelihood a second, that a new lens's marks are not seen: motion
  // blurs them, an instrument lies over them. A previous lens is there to be taken out: unseen, it
  // may well be gone.
  double unseen_moving_cost_hz = 5.0;
  double unseen_resting_cost_hz = 15.0;
  double rest_creep_deg_s = 0.3;  // of a resting lens, also what a resting lens is mistaken for
};

struct AxisPath {
  std::vector<Phase> phase;   // a step
  std::vector<int> axis_deg;  // 0..179, -1 where there is no lens
  std::vector<bool> moving;
  std::vector<float> evidence;  // a step: for the path's axis; 0 where there is no lens
  double log_ratio = 0.0;  // of the path's evidence against no lens at all, without transitions
  double log_prior = 0.0;  // log probability of the history itself, before any evidence
};

// The most probable history. `lens_sure`, when not empty, has a step's 1 where a lens is known to
// lie there: the history of a lens that moves unseen is one of very many, each improbable, and so
// loses against no lens at all though together they win; the posterior tells.
AxisPath most_probable_path(std::span<const AxisEvidence> previous,
                            std::span<const AxisEvidence> current, const AxisModelOptions& options,
                            std::span<const char> lens_sure = {});

// What speaks for an axis while the lens is known to lie elsewhere is fixed to the eye, not to the
// lens: a bubble, a crease, an incision. For each axis the upper quartile of the evidence over the
// steps in which the path rests more than 12 degrees away is taken off, where it is positive, from
// that lens's evidence. Changes the evidence in place; axes that fewer than four such steps judge
// stay as they are.
void subtract_standing_clutter(const AxisPath& path, std::span<AxisEvidence> previous,
                               std::span<AxisEvidence> current);

struct AxisPosterior {
  std::vector<float> lens;  // probability that a lens with marks is in view (previous or new)
  std::vector<float>
      near_path;  // probability of an axis within 3 degrees of the path's, in the path's phase
  std::vector<float> moving;  // probability that it moves
};

// Marginal probabilities about a path that most_probable_path gave for the same evidence.
AxisPosterior posterior_about(const AxisPath& path, std::span<const AxisEvidence> previous,
                              std::span<const AxisEvidence> current,
                              const AxisModelOptions& options);

}  // namespace rhumb::timeline
