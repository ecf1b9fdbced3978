#include "analyze/summary.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "analyze/error_budget.h"
#include "analyze/optic_stays.h"
#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using angle::deg_from_rad;
using outcome::Interval;
using outcome::LensState;

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
    // Without marks that were believed or set by hand only its optic can have told of it.
    const bool lens_seen = !new_lens_is_read(outcome.rows) &&
                           std::any_of(outcome.rows.begin(), outcome.rows.end(),
                                       [](const auto& row) { return row.lens == LensState::New; });
    if (!belief.current && lens_seen)
      return "No axis could be measured: a lens was seen to come, but no toric marks could be read "
             "on it.";
    if (!belief.current)
      return "No axis could be measured: no toric lens marks could be read in this recording.";
    const bool lay_still = std::any_of(
        outcome.episodes.begin(), outcome.episodes.end(),
        [](const auto& one) { return one.lens == LensState::New && !one.still.empty(); });
    if (lay_still)
      return "No axis could be measured: the new lens was turned after it last lay still, and was "
             "not seen to lie still again.";
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

void fill_evidence(outcome::CaseOutcome& outcome, const RowInputs& inputs) {
  const auto& frames = inputs.pass.frames;
  for (const auto& episode : outcome.episodes) {
    int number = 0;
    for (const auto& stretch : episode.still) {
      ++number;
      // The frame whose own reading is the most precise. A key frame shows finer detail than its
      // neighbours and is decoded alone, so that one is taken that shows both ends somewhat well.
      constexpr double less_precise = 3.0;
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

void summarise(outcome::CaseOutcome& outcome, const RowInputs& inputs,
               const std::string& why_no_eye, const Belief& belief) {
  outcome.verdict = verdict_of(outcome, inputs, why_no_eye, belief);
  if (outcome.final)
    outcome.budget =
        error_budget(outcome, inputs.tie,
                     1.96 * common_se(inputs, inputs.fine.current, outcome.final->axis.value_rad));
  fill_evidence(outcome, inputs);
  fill_limitations(outcome);
}

}  // namespace rhumb::analyze
