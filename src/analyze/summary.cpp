#include "analyze/summary.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using angle::deg_from_rad;
using outcome::Interval;
using outcome::LensState;
using timeline::Phase;

// Marks count as marks when the windows that show both ends add up to more than clutter ever did,
// and single frames were read against what was learned. See docs/method.md for what clutter
// reaches.
constexpr double least_log_ratio = 25.0;
// Of each of two lenses: one that is soon taken out shows in two or three windows.
constexpr double least_log_ratio_of_one = 12.0;
constexpr int least_windows = 2;
constexpr int least_readings = 8;
// Mean log likelihood ratio of a frame with the lens. Clear marks reach 3 to 4, the faintest that
// were read right 2.5; clutter that was taken for marks in recordings without readable ones
// reached 1.6, marks hardly seen and read a degree off 1.9. Set on the practice and hard
// recordings: see docs/accuracy.md.
constexpr double least_mean_log_ratio = 2.1;
// Marks lighter than the glow are rare, and reflexes that look like them are not.
constexpr double least_mean_log_ratio_if_light = 3.0;
constexpr double least_log_ratio_if_light = 40.0;
// Of the axis over any other, somewhere in the recording; see docs/method.md for what it rests on.
constexpr float least_lead = 3.4F;
// Of lead times squared likeness of the ends, for a lens that is not seen to come, turn or go:
// crypts and bubbles reached 6.4, marks that are read well 8 to 10.
constexpr double least_clearness_unmoved = 8.0;

bool believed(const FineReading& fine, const WindowReading& windows, Phase phase) {
  const auto& signature = phase == Phase::Previous ? windows.previous : windows.current;
  if (!signature || signature->windows < least_windows) return false;
  int readings = 0;
  for (const FineAxis& frame : fine.frames)
    readings += frame.phase == phase && frame.own.given ? 1 : 0;
  return readings >= least_readings;
}

double log_ratio_of(const timeline::AxisPath& path, Phase phase) {
  double sum = 0.0;
  for (std::size_t k = 0; k < path.phase.size(); ++k)
    if (path.phase[k] == phase) sum += static_cast<double>(path.evidence[k]);
  return sum;
}

// The largest lead of an axis that the lens keeps for two windows or more.
float best_lead(const WindowReading& windows, Phase phase) {
  float best = 0.0F;
  for (std::size_t k = 0; k + 1 < windows.lead.size(); ++k) {
    if (windows.path.phase[k] == phase && windows.path.phase[k + 1] == phase)
      best = std::max(best, std::min(windows.lead[k], windows.lead[k + 1]));
  }
  return best;
}

// A lens that comes, turns or goes is told from what is fixed to the eye by that; another one must
// be clearer than anything that is.
bool moves_or_is_clear(const WindowReading& windows, Phase phase) {
  const auto& signature = phase == Phase::Previous ? windows.previous : windows.current;
  if (!signature || windows.changes[phase == Phase::Previous ? 0 : 1]) return true;
  return static_cast<double>(best_lead(windows, phase)) * std::pow(signature->likeness, 2.0) >=
         least_clearness_unmoved;
}

// Whether what was taken for this lens's marks speaks louder than clutter does: in the windows, in
// the frames, and in the mean frame.
bool stands_out(const WindowReading& windows, const FrameReading& coarse, Phase phase) {
  const auto& signature = phase == Phase::Previous ? windows.previous : windows.current;
  const bool light = signature && signature->light;
  const double least = light ? least_log_ratio_if_light : least_log_ratio_of_one;
  if (log_ratio_of(windows.path, phase) < least || log_ratio_of(coarse.path, phase) < least)
    return false;
  double frames = 0.0;
  double evidence = 0.0;
  for (std::size_t k = 0; k < coarse.path.phase.size(); ++k) {
    if (coarse.path.phase[k] != phase) continue;
    if (coarse.path.evidence[k] == 0.0F) continue;  // the eye is not in the picture
    // A lens that moves unseen neither speaks for the marks nor against them.
    if (coarse.path.moving[k] && coarse.path.evidence[k] <= 0.0F) continue;
    frames += 1.0;
    evidence += static_cast<double>(coarse.path.evidence[k]);
  }
  if (best_lead(windows, phase) < least_lead) return false;
  const double least_mean = light ? least_mean_log_ratio_if_light : least_mean_log_ratio;
  return frames > 0.0 && evidence >= least_mean * frames;
}

std::string people_axis(double rad) {
  const double rounded = std::round(10.0 * deg_from_rad(angle::wrap_axis(rad))) / 10.0;
  // People write 180 where a machine file has 0.
  return fmt::format("{:.1f}", rounded < 0.05 || rounded > 179.95 ? 180.0 : rounded);
}

std::string verdict_of(const outcome::CaseOutcome& outcome, const RowInputs& inputs,
                       const std::string& why_no_eye, const Belief& belief) {
  if (inputs.atlas == nullptr && !outcome.final) {
    return "No axis could be measured: " +
           (why_no_eye.empty() ? std::string("no eye was found") : why_no_eye) + ".";
  }
  if (!outcome.final) {
    if (!inputs.tie.axes_can_be_given) {
      return "No axis could be measured: nothing ties the picture to the eye's meridians.";
    }
    if (belief.unmoved) {
      return "No axis could be measured: what might be lens marks never moves against the eye and "
             "is not "
             "clear enough to be told from features of the eye itself.";
    }
    if (!belief.current && belief.previous) {
      return "No axis could be measured: the previous lens was read, but no marks of a new one "
             "were, or they were not told from the previous lens's.";
    }
    if (!belief.current)
      return "No axis could be measured: no toric lens marks could be read in this recording.";
    return "No axis could be measured: the new lens never lay still and readable.";
  }
  const outcome::FinalAxis& final = *outcome.final;
  const double half = deg_from_rad(final.axis.high_rad - final.axis.value_rad);
  std::string text = fmt::format("The lens ended at {} degrees, give or take {:.1f} (95 %)",
                                 people_axis(final.axis.value_rad), half);
  if (outcome.axes_are_relative) {
    const bool to_lens = std::any_of(
        outcome.references.begin(), outcome.references.end(),
        [](const auto& r) { return r.kind == casefile::ReferenceKind::PreviousLens && r.found; });
    text += to_lens ? " against the previous lens"
                    : " counted from the picture's horizontal in the first clear frame";
  }
  if (final.deviation) {
    const double deviation = deg_from_rad(final.deviation->value_rad);
    text += std::abs(deviation) < 0.05
                ? ", on the planned axis"
                : fmt::format(", {:.1f} degrees {} from the planned {}", std::abs(deviation),
                              deviation > 0.0 ? "counter-clockwise" : "clockwise",
                              people_axis(*outcome.planned_axis_rad));
  }
  if (final.rests_on_anchor) text += "; this rests on marks set by hand";
  return text + ".";
}

Interval difference(const Interval& from, const Interval& to, double common_half) {
  const double value = angle::wrap_deviation(to.value_rad - from.value_rad);
  // What both axes have in common (reference, tilt) drops out of their difference.
  const auto own = [&](const Interval& axis) {
    const double half = axis.high_rad - axis.value_rad;
    return std::max(0.0, half * half - common_half * common_half);
  };
  const double half = std::sqrt(own(from) + own(to)) + 1e-6;
  return {value, value - half, value + half};
}

Interval around(double value, double se) { return {value, value - 1.96 * se, value + 1.96 * se}; }

// The placement is the first still stretch that is followed by nothing but small turns: the last
// stretch from which no later one lies further than this.
constexpr double placement_reach_rad = 0.21;  // 12 degrees

const outcome::StillStretch* placement_of(const outcome::Episode& episode) {
  const outcome::StillStretch* placed = nullptr;
  for (auto it = episode.still.rbegin(); it != episode.still.rend(); ++it) {
    const double turn =
        angle::wrap_deviation(it->axis.value_rad - episode.still.back().axis.value_rad);
    if (std::abs(turn) > placement_reach_rad) break;
    placed = &*it;
  }
  return placed;
}

void fill_budget(outcome::CaseOutcome& outcome, const RowInputs& inputs) {
  if (!outcome.final || !outcome.final->deviation) return;
  outcome::ErrorBudget& budget = outcome.budget;
  budget.total = outcome.final->deviation;
  const outcome::Episode* last = nullptr;
  for (const auto& episode : outcome.episodes) {
    if (episode.lens == LensState::New && !episode.still.empty()) last = &episode;
  }
  if (last == nullptr) return;
  const double common_half =
      1.96 * common_se(inputs, inputs.fine.current, outcome.final->axis.value_rad);
  const outcome::StillStretch* placed = placement_of(*last);
  budget.rotation_after_placement = difference(placed->axis, outcome.final->axis, common_half);
  const double placed_deviation =
      outcome.final->deviation->value_rad - budget.rotation_after_placement->value_rad;
  if (inputs.tie.target_ink_rad && outcome.planned_axis_rad) {
    const double marking =
        angle::wrap_deviation(*inputs.tie.target_ink_rad - *outcome.planned_axis_rad);
    budget.axis_marking = around(marking, inputs.tie.target_ink_se_rad);
    const double half = placed->axis.high_rad - placed->axis.value_rad;
    budget.alignment =
        around(placed_deviation - marking, std::hypot(half / 1.96, inputs.tie.target_ink_se_rad));
  } else {
    // Without ink at the planned axis, marking and alignment can't be told apart: their sum.
    const double half = placed->axis.high_rad - placed->axis.value_rad;
    budget.alignment = Interval{placed_deviation, placed_deviation - half, placed_deviation + half};
  }
}

void fill_evidence(outcome::CaseOutcome& outcome, const RowInputs& inputs) {
  const auto& frames = inputs.pass.frames;
  for (const auto& episode : outcome.episodes) {
    int number = 0;
    for (const auto& stretch : episode.still) {
      ++number;
      // The frame whose own reading is the most precise. A key frame shows finer detail than its
      // neighbours and is found at once, so that it may be a little less precise.
      constexpr double less_precise = 1.25;
      const auto rank = [&](std::size_t k) {
        return inputs.fine.frames[k].own.se_rad * (frames[k].is_key ? 1.0 : less_precise);
      };
      std::size_t best = frames.size();
      for (std::size_t k = 0; k < frames.size(); ++k) {
        if (frames[k].time_s < stretch.start_s || frames[k].time_s > stretch.end_s) continue;
        const FineAxis& fine = inputs.fine.frames[k];
        if (!fine.own.given || !fine.end_a || !fine.end_b) continue;
        if (best == frames.size() || rank(k) < rank(best)) best = k;
      }
      if (best == frames.size()) continue;
      const FineAxis& fine = inputs.fine.frames[best];
      outcome::EvidenceFrame evidence;
      evidence.frame = frames[best].index;
      evidence.time_s = frames[best].time_s;
      evidence.is_key = frames[best].is_key;
      evidence.pose = frames[best].pose;
      evidence.lens = episode.lens;
      evidence.axis_atlas_rad = angle::wrap_axis(fine.axis_rad);
      evidence.lens_centre_atlas = fine.centre;
      const double distance = episode.lens == LensState::Previous ? inputs.fine.previous.distance
                                                                  : inputs.fine.current.distance;
      const Eigen::Vector2d along(std::cos(fine.seen_rad), std::sin(fine.seen_rad));
      evidence.marks_atlas = {fine.centre + distance * along, fine.centre - distance * along};
      evidence.caption =
          fmt::format("{} lens, still stretch {} of {}: {} degrees",
                      episode.lens == LensState::Previous ? "Previous" : "New", number,
                      episode.still.size(), people_axis(stretch.axis.value_rad));
      outcome.evidence.push_back(std::move(evidence));
    }
  }
}

void fill_limitations(outcome::CaseOutcome& outcome) {
  const auto& rows = outcome.rows;
  std::size_t k = 0;
  while (k < rows.size()) {
    if (rows[k].axis) {
      ++k;
      continue;
    }
    std::size_t end = k;
    while (end < rows.size() && !rows[end].axis && rows[end].why_not == rows[k].why_not) ++end;
    const double length = rows[end - 1].time_s - rows[k].time_s;
    if (length >= 0.5 || end == rows.size()) {
      outcome.limitations.push_back({rows[k].time_s, rows[end - 1].time_s, rows[k].why_not});
    }
    k = end;
  }
}

}  // namespace

Belief belief_in(const WindowReading& windows, const FrameReading& coarse,
                 const FineReading& fine) {
  Belief belief;
  if (windows.log_ratio < least_log_ratio || coarse.path.log_ratio < least_log_ratio) return belief;
  // Each lens stands on its own evidence: the one can be clear and the other clutter.
  const auto speaks = [&](Phase phase) {
    return stands_out(windows, coarse, phase) && believed(fine, windows, phase);
  };
  belief.previous = speaks(Phase::Previous) && moves_or_is_clear(windows, Phase::Previous);
  const bool current = speaks(Phase::New);
  belief.current = current && moves_or_is_clear(windows, Phase::New);
  belief.unmoved = current && !belief.current;
  return belief;
}

void summarise(outcome::CaseOutcome& outcome, const RowInputs& inputs,
               const std::string& why_no_eye, const Belief& belief) {
  outcome.verdict = verdict_of(outcome, inputs, why_no_eye, belief);
  fill_budget(outcome, inputs);
  fill_evidence(outcome, inputs);
  fill_limitations(outcome);
}

}  // namespace rhumb::analyze
