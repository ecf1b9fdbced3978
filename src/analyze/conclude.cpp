#include "analyze/conclude.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "analyze/anchors.h"
#include "analyze/follow_lens.h"
#include "analyze/optic_stays.h"
#include "analyze/refraction.h"
#include "analyze/rows.h"
#include "analyze/summary.h"
#include "angle/angle.h"
#include "files/user_error.h"

namespace rhumb::analyze {
namespace {

// Apparent magnification of the lens plane by the cornea, 1 / (1 - d F / 1336) with F 43 D and the
// marks 3.3 mm behind it (worked figures for 3.05 to 5.0 mm run from 1.11 to 1.19).
constexpr double corneal_magnification = 1.14;
constexpr double usual_white_to_white_mm =
    11.7;                               // mean of normal adults (Ruefer et al., Cornea 2005;24:259)
constexpr double usual_optic_mm = 6.0;  // common practice, no source

double optic_radius(const casefile::LensMarks& lens, const casefile::Case& stated) {
  const double limbus_mm = stated.white_to_white_mm.value_or(usual_white_to_white_mm);
  return corneal_magnification * lens.optic_mm.value_or(usual_optic_mm) / limbus_mm;
}

bool has_previous_lens(const casefile::Case& stated) {
  return stated.previous_lens.has_value() || stated.plan.from_previous_lens_rad.has_value() ||
         std::any_of(stated.references.begin(), stated.references.end(), [](const auto& reference) {
           return reference.kind == casefile::ReferenceKind::PreviousLens;
         });
}

lens::StatedMarks marks_from(const casefile::LensMarks& lens, const casefile::Case& stated) {
  return {lens.marks == casefile::MarkKind::Lines, lens.marks_per_end, optic_radius(lens, stated)};
}

std::vector<double> times_of(const Pass& pass) {
  std::vector<double> time_s;
  for (const SeenFrame& seen : pass.frames) time_s.push_back(seen.time_s);
  return time_s;
}

struct Reading {
  WindowReading windows;
  FrameReading coarse;
  FineReading fine;
  ChamberReading chamber;
};

Reading read_lens(const Pass& pass, const LensPrior& prior, const AnalyzeOptions& options,
                  const Progress& progress) {
  const std::vector<double> time_s = times_of(pass);
  const double end_s = time_s.empty() ? 0.0 : time_s.back();
  const auto begins = [&](Stage stage, double done) {
    if (options.on_stage) options.on_stage(stage);
    if (progress) progress(done, end_s);
  };
  Reading reading;
  begins(Stage::Windows, 0.7);
  reading.windows = read_windows(pass.patches, time_s, prior, {}, options.threads);
  begins(Stage::Frames, 0.8);
  reading.coarse = read_frames(pass.patches, time_s, reading.windows, prior, options.threads);
  begins(Stage::Refinement, 0.9);
  reading.fine = refine(pass.patches, time_s, reading.windows, reading.coarse,
                        !options.left_out.smoothing, options.threads);
  adopt_followed(reading.fine, reading.coarse);
  if (reading.fine.current.settled_from < pass.frames.size())
    reading.chamber = read_chamber(pass.iris.entries(), time_s[reading.fine.current.settled_from],
                                   options.threads);
  if (!options.left_out.smoothing) take_off_refraction(reading.chamber, time_s, reading.fine);
  begins(Stage::Outcome, 0.98);
  return reading;
}

// The axis of the previous lens where it lay still first: its median over the first two seconds of
// readings, as it is seen, since the eye is clear then.
PreviousAxis previous_axis(const Pass& pass, const Reading& reading, bool believed) {
  PreviousAxis out;
  if (!believed) return out;
  std::vector<double> axes;
  double se = 1e3;
  std::optional<double> start;
  for (std::size_t k = 0; k < pass.frames.size(); ++k) {
    const FineAxis& fine = reading.fine.frames[k];
    if (fine.phase != timeline::Phase::Previous || !fine.own.given || reading.coarse.path.moving[k])
      continue;
    if (!start) start = pass.frames[k].time_s;
    if (pass.frames[k].time_s > *start + 2.0) break;
    axes.push_back(fine.seen_rad);
    se = std::min(se, fine.se_rad);
  }
  if (axes.size() < 3) return out;
  std::nth_element(axes.begin(), axes.begin() + static_cast<std::ptrdiff_t>(axes.size() / 2),
                   axes.end());
  out.found = true;
  out.atlas_rad = axes[axes.size() / 2];
  out.se_rad = std::hypot(se, reading.fine.previous.template_se_rad);
  return out;
}

std::optional<double> planned_axis(const casefile::Case& stated, const Tie& tie,
                                   const PreviousAxis& previous) {
  if (stated.plan.axis_rad) return stated.plan.axis_rad;
  if (!stated.plan.from_previous_lens_rad || !previous.found) return std::nullopt;
  return angle::wrap_axis(previous.atlas_rad + tie.zero_rad + *stated.plan.from_previous_lens_rad);
}

outcome::VideoFacts facts_from(const Pass& pass) {
  const video::StreamFacts& facts = pass.facts;
  outcome::VideoFacts out;
  out.width = facts.width;
  out.height = facts.height;
  out.duration_s = facts.duration_s;
  out.frames = facts.frames;
  out.passed_over_frames = static_cast<std::int64_t>(pass.skipped.size());
  out.frame_rate =
      facts.duration_s > 0.0 ? static_cast<double>(facts.frames) / facts.duration_s : 0.0;
  out.damaged_packets = facts.damaged_packets;
  out.concealed_frames = facts.concealed_frames;
  out.interlaced = facts.interlaced_frames > 0;
  out.codec = facts.codec;
  out.notes = facts.notes;
  out.clock_as_recorded =
      facts.missing_stamps == 0 && facts.repaired_stamps == 0 && facts.clock_restarts == 0;
  return out;
}

double first_rotation(const Pass& pass) {
  for (const SeenFrame& seen : pass.frames) {
    if (seen.pose.found && seen.pose.ring_share > 0.5) return seen.pose.rotation_rad;
  }
  for (const SeenFrame& seen : pass.frames) {
    if (seen.pose.found) return seen.pose.rotation_rad;
  }
  return 0.0;
}

}  // namespace

LensPrior prior_for(const casefile::Case& stated) {
  LensPrior prior;
  prior.previous_lens = has_previous_lens(stated);
  prior.current = marks_from(stated.lens, stated);
  prior.previous = marks_from(stated.previous_lens.value_or(stated.lens), stated);
  return prior;
}

outcome::CaseOutcome conclude(const casefile::Case& stated, const SampledAtlas& sampled,
                              const Pass& pass, const AnalyzeOptions& options,
                              const Progress& progress, const std::stop_token& cancel) {
  outcome::CaseOutcome out;
  out.stated = stated;
  out.video = facts_from(pass);
  const eye::EyeAtlas* atlas = sampled.atlas ? &*sampled.atlas : nullptr;
  LensPrior prior = prior_for(stated);
  prior.any_pattern = options.left_out.pattern;
  const Reading reading = read_lens(pass, prior, options, progress);
  if (cancel.stop_requested()) throw Interrupted();
  const Belief belief = belief_in(reading.windows, reading.coarse, reading.fine);

  Tie tie;
  if (atlas != nullptr) {
    const PreviousAxis previous = previous_axis(pass, reading, belief.previous);
    tie = tie_to_meridians(stated, *atlas, previous, first_rotation(pass));
    tie_by_hand(stated, pass, tie);
    out.planned_axis_rad = planned_axis(stated, tie, previous);
    const eye::LimbusInAtlas& limbus = atlas->limbus;
    out.limbus_in_atlas = {limbus.centre, limbus.semi_major, limbus.semi_minor, limbus.angle_rad,
                           limbus.arc_share};
  }
  const RowInputs inputs{pass,
                         atlas,
                         sampled.report.tilt_rad,
                         sampled.report.tilt_se_rad,
                         reading.coarse,
                         reading.fine,
                         reading.chamber,
                         tie,
                         belief.previous,
                         belief.current,
                         out.planned_axis_rad,
                         belief.previous || !belief.unmoved};
  out.rows = make_rows(inputs);
  AnchorReport by_hand = apply_anchors(stated, inputs, out.rows);
  if (!new_lens_is_read(out.rows))
    note_unread_lens(
        optic_stays(look_for_optic(pass.patches, times_of(pass), reading.windows.windows,
                                   prior.current.optic_radius, options.threads)),
        prior.previous_lens, out.rows);
  out.episodes = make_episodes(out.rows);
  out.final = make_final(out.rows, out.episodes, out.planned_axis_rad);
  if (may_be_seen_again(out.episodes)) {
    out.run.warnings.emplace_back(
        "the new lens first lies within 3 degrees of where the previous one lay last: make sure "
        "that it is not the previous lens seen again");
  }
  out.atlas_zero_meridian_rad = tie.zero_rad;
  out.atlas_zero_se_rad = tie.zero_se_rad;
  out.axes_are_relative = tie.axes_are_relative;
  out.references = tie.findings;
  out.run.warnings.insert(out.run.warnings.end(), tie.warnings.begin(), tie.warnings.end());
  summarise(out, inputs, sampled.report.why_not, belief);
  note_anchors(std::move(by_hand), out);
  out.rows = with_skipped(out.rows, pass.skipped, out.planned_axis_rad);
  if (progress) progress(1.0, out.video.duration_s);
  return out;
}

}  // namespace rhumb::analyze
