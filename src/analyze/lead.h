// What tells a lens's marks from what is fixed to the eye: how far the axis of a path is ahead of
// any other, and whether the lens comes, turns or goes.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "lens/axis_search.h"
#include "timeline/axis_model.h"

namespace rhumb::analyze {

// Axes nearer than this are no rivals: they share evidence, since a mark spans two to five degrees.
inline constexpr int another_axis_deg = 6;
// Where the clear end of an axis is the clear end of another too, seen from another supposed
// centre: centres are free by some 0.05 limbal radii either way, and marks lie 0.48 from them.
inline constexpr int another_mark_deg = 12;

// By step of the path, by how much its axis is better supported than any other that is
// `rivals_from_deg` or more away: log likelihood ratios, on average over the steps about it in
// which the path keeps its lens and its axis (to 2 degrees). 0 where the path has no lens. Evidence
// that does not change over a stretch, as of clutter that lies still, makes that no larger, however
// long the stretch. previous, current: the evidence of either lens, an entry a step.
std::vector<float> leads(const timeline::AxisPath& path,
                         std::span<const timeline::AxisEvidence> previous,
                         std::span<const timeline::AxisEvidence> current,
                         int rivals_from_deg = another_axis_deg);

// Scores of both ends (A, B) at an axis and up to two degrees beside it, the better of each. Ends
// swap where axes pass 180 degrees.
std::array<float, 2> ends_near(const lens::AxisScores& scores, int axis_deg);

// What counts as a change of a lens.
struct ChangeRule {
  int least_turn_deg = 4;
  // Whether an end that hardly shows while the lens is there has to be gone while it is not.
  bool faint_ends_count = true;
};

// Whether a lens is seen to do what nothing fixed to the eye does: it lies at two axes so far
// apart, each well supported, or there are two steps and more before it comes, or after it has
// gone, in which little speaks for the axis next to them, and neither end's mark shows by itself.
// `lead` as leads() gives it; `evidence` of this lens and the scores that it comes from, an entry a
// step, null where the step was not looked at.
bool is_seen_to_change(const timeline::AxisPath& path, timeline::Phase phase,
                       std::span<const float> lead,
                       std::span<const timeline::AxisEvidence> evidence,
                       std::span<const lens::AxisScores* const> scores,
                       const ChangeRule& rule = {});

}  // namespace rhumb::analyze
