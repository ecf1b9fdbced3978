#include "analyze/believed_marks.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "analyze/end_travel.h"

namespace rhumb::analyze {
namespace {

using timeline::Phase;

// Marks count as marks when the windows that show both ends add up to more than clutter ever did,
// and single frames were read against what was learned. See docs/method.md for what clutter
// reaches.
constexpr double least_log_ratio = 25.0;
// Of each of two lenses: one that is soon taken out shows in two or three windows.
constexpr double least_log_ratio_of_one = 12.0;
constexpr int least_windows = 2;
constexpr int least_readings = 8;
// What else is asked of them.
struct Gates {
  double mean_log_ratio;  // of a frame with the lens
  float lead;             // of the axis over any other, somewhere in the recording
};
// Clear marks reach 3 to 4 a frame, the faintest that were read right 2.5; clutter that was taken
// for marks in recordings without readable ones reached 1.6, marks hardly seen and read a degree
// off 1.9. Set on the practice and hard recordings: see docs/accuracy.md.
constexpr Gates usual{2.1, 3.4F};
// Where the refined ends bear witness clutter has neither so alike nor so steady ends.
constexpr Gates if_witnessed{1.75, 2.5F};
constexpr double least_witness = 0.55;
// An axis that nothing comes near may be as faint where both its ends are read. A lens that is not
// meant to be readable, a degree off, leads by 11 with 1.64 a frame.
constexpr Gates if_far_ahead{1.75, 8.0F};
// From here on a lens of which one end hardly shows counts by the other one: clutter reached 0.29.
constexpr double least_witness_one_end = 0.35;
// Marks lighter than the glow are rare, and reflexes that look like them are not.
constexpr double least_mean_log_ratio_if_light = 3.0;
constexpr double least_log_ratio_if_light = 40.0;
// Of lead times squared likeness of the ends, for a lens that is not seen to come, turn or go:
// crypts and bubbles reached 6.4, marks that are read well 8 to 10.
constexpr double least_clearness_unmoved = 8.0;
// The same where it lies there from the first picture to the last: a ring of bubbles reached 9.2.
// Of 78 lenses that were read right a quarter has less than this: those need to be seen to move.
constexpr double least_clearness_throughout = 11.0;
// Where as many other meridians show something like an end, two spots lie opposite by chance.
// What was followed in pupils without a lens had mostly 2 to 11; lenses less than 2, also among
// bubbles, but for those in a narrow pupil and those that hardly show.
constexpr double crowded = 2.0;
constexpr double least_witness_if_crowded = 0.5;

bool was_learned(const FineReading& fine, const WindowReading& windows, Phase phase) {
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

// How alike the two refined ends are, times how steadily frames find them, 0 to 1: two ends of one
// lens carry the same marks and turn together, which clutter seldom does.
double witness(const FineReading& fine, Phase phase) {
  const FineReport& report = phase == Phase::Previous ? fine.previous : fine.current;
  return std::max(0.0, report.common_marks) * report.steady_share;
}

// The largest lead of an axis that the lens keeps for two windows or more.
float best_lead(const WindowReading& windows, const FineReading& fine, Phase phase) {
  const auto& lead =
      witness(fine, phase) >= least_witness_one_end ? windows.lead_over_other_marks : windows.lead;
  float best = 0.0F;
  for (std::size_t k = 0; k + 1 < lead.size(); ++k) {
    if (windows.path.phase[k] == phase && windows.path.phase[k + 1] == phase)
      best = std::max(best, std::min(lead[k], lead[k + 1]));
  }
  return best;
}

// Whether frames that both ends speak for turn by more than anything does that is fixed to the eye.
bool turns(const FineReading& fine, Phase phase) {
  constexpr double least_turn_rad = 0.07;  // 4 degrees
  constexpr std::size_t least_frames = 20;
  const FineReport& report = phase == Phase::Previous ? fine.previous : fine.current;
  if (!report.both_ends) return false;
  std::vector<double> axes;
  for (const FineAxis& frame : fine.frames) {
    if (frame.phase == phase && frame.keeps() && frame.end_a && frame.end_b)
      axes.push_back(frame.seen_rad);
  }
  if (axes.size() < least_frames) return false;
  std::sort(axes.begin(), axes.end());
  return axes[axes.size() - 1 - axes.size() / 10] - axes[axes.size() / 10] >= least_turn_rad;
}

// Whether the path has this lens in every window that was looked at.
bool lies_throughout(const WindowReading& windows, Phase phase) {
  for (std::size_t k = 0; k < windows.windows.size(); ++k)
    if (windows.windows[k].searched && windows.path.phase[k] != phase) return false;
  return true;
}

// Whether one end stays where it is in the eye while the other is turned: a crypt or a vessel that
// was taken for it. In the turns of 33 practice and hard recordings the ends' ways were 0.82 alike
// and more; one end that was a crypt's spot made 0.11 of the other's.
bool one_end_stays(const FineReading& fine, Phase phase) {
  constexpr double least_travel = 0.4;
  const auto travel = end_travel(fine, phase);
  return travel && *travel < least_travel;
}

// A lens that comes, turns or goes is told from what is fixed to the eye by that.
bool moves(const WindowReading& windows, const FineReading& fine, Phase phase) {
  const std::size_t lens = phase == Phase::Previous ? 0 : 1;
  if (windows.changes[lens]) return true;
  if (windows.clear_end_changes[lens] && witness(fine, phase) >= least_witness_one_end) return true;
  return turns(fine, phase);
}

// Another one must be clearer than anything that is.
bool moves_or_is_clear(const WindowReading& windows, const FineReading& fine, Phase phase) {
  const auto& signature = phase == Phase::Previous ? windows.previous : windows.current;
  if (!signature || moves(windows, fine, phase)) return true;
  const double least =
      lies_throughout(windows, phase) ? least_clearness_throughout : least_clearness_unmoved;
  return static_cast<double>(best_lead(windows, fine, phase)) *
             std::pow(signature->likeness, 2.0) >=
         least;
}

// Whether what was taken for the two ends may be two of many bubbles, or crypts. Bubbles drift and
// go, so that moving alone is no proof.
bool may_be_two_of_many(const WindowReading& windows, const FineReading& fine, Phase phase) {
  if (windows.rival_ends[phase == Phase::Previous ? 0 : 1] < crowded) return false;
  return witness(fine, phase) < least_witness_if_crowded || !moves(windows, fine, phase);
}

// Log likelihood ratio of the mean frame with the lens.
double mean_log_ratio(const FrameReading& coarse, Phase phase) {
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
  return frames > 0.0 ? evidence / frames : 0.0;
}

// Whether what was taken for this lens's marks speaks louder than clutter does: in the windows, in
// the frames, and in the mean frame.
bool stands_out(const WindowReading& windows, const FrameReading& coarse, const FineReading& fine,
                Phase phase) {
  const auto& signature = phase == Phase::Previous ? windows.previous : windows.current;
  const bool light = signature && signature->light;
  const double least = light ? least_log_ratio_if_light : least_log_ratio_of_one;
  if (log_ratio_of(windows.path, phase) < least || log_ratio_of(coarse.path, phase) < least)
    return false;
  const double witnessed = witness(fine, phase);
  const float lead = best_lead(windows, fine, phase);
  const double mean = mean_log_ratio(coarse, phase);
  const auto passes = [&](const Gates& gates) {
    return lead >= gates.lead &&
           mean >= (light ? least_mean_log_ratio_if_light : gates.mean_log_ratio);
  };
  const bool both_ends = (phase == Phase::Previous ? fine.previous : fine.current).both_ends;
  return passes(usual) || (witnessed >= least_witness && passes(if_witnessed)) ||
         (both_ends && witnessed >= least_witness_one_end && passes(if_far_ahead));
}

}  // namespace

Belief belief_in(const WindowReading& windows, const FrameReading& coarse,
                 const FineReading& fine) {
  Belief belief;
  if (windows.log_ratio < least_log_ratio || coarse.path.log_ratio < least_log_ratio) return belief;
  // Each lens stands on its own evidence: the one can be clear and the other clutter.
  const auto speaks = [&](Phase phase) {
    return stands_out(windows, coarse, fine, phase) && was_learned(fine, windows, phase) &&
           !one_end_stays(fine, phase) && !may_be_two_of_many(windows, fine, phase);
  };
  belief.previous = speaks(Phase::Previous) && moves_or_is_clear(windows, fine, Phase::Previous);
  const bool current = speaks(Phase::New);
  belief.current = current && moves_or_is_clear(windows, fine, Phase::New);
  belief.unmoved = current && !belief.current;
  return belief;
}

}  // namespace rhumb::analyze
