#include "analyze/refine.h"

#include <algorithm>
#include <cmath>

#include "analyze/axis_history.h"
#include "analyze/end_strips.h"
#include "analyze/follow_lens.h"
#include "analyze/lens_centre.h"
#include "analyze/refine_error.h"
#include "analyze/track.h"
#include "angle/angle.h"
#include "lens/mark_pattern.h"
#include "lens/mark_template.h"

namespace rhumb::analyze {
namespace {

using timeline::Phase;

constexpr double centre_spread = 0.008;  // limbal radii (0.05 mm): of the smoothed lens centre
constexpr double centre_step_s = 0.06;

// Turn and centre offset from the two ends: end A is seen turned by turn + offset / lever, end B by
// turn - offset / lever. The prior on the offset lets one end serve alone.
Solved solve(const EndPair& ends, const Levers& levers) {
  Solved out;
  double h11 = 1e-12;
  double h12 = 0.0;
  double h22 = 1.0 / (centre_spread * centre_spread);
  double g1 = 0.0;
  double g2 = 0.0;
  const auto add = [&](const lens::TurnEstimate& end, double lever) {
    if (!shows(end)) return;
    const double w = 1.0 / (honest_se(end) * honest_se(end));
    h11 += w;
    h12 += w * lever;
    h22 += w * lever * lever;
    g1 += w * end.turn_rad;
    g2 += w * lever * end.turn_rad;
    out.given = true;
  };
  add(ends.a, 1.0 / levers.a);
  add(ends.b, -1.0 / levers.b);
  if (!out.given) return out;
  const double determinant = h11 * h22 - h12 * h12;
  out.turn_rad = (h22 * g1 - h12 * g2) / determinant;
  out.offset = (h11 * g2 - h12 * g1) / determinant;
  out.se_rad = std::sqrt(h22 / determinant);
  out.offset_se = std::sqrt(h11 / determinant);
  return out;
}

// Where each template's own marks lie: a strip turned by `turn` against it has its marks at turn +
// offset.
struct Offsets {
  double a = 0.0;
  double b = 0.0;
  double mean_se_rad = 0.0;
  bool of_both = false;  // both ends show the same marks; else the weaker may be clutter
  double common_marks = 0.0;
};

// Of each by itself, the weaker one not to be read.
Offsets offsets_of_each(const PairTemplate& form, double common_marks) {
  return {lens::symmetric_angle(form.a, strip_geometry),
          lens::symmetric_angle(form.b, strip_geometry), 0.0, false, common_marks};
}

Offsets offsets_of(const PairTemplate& form) {
  const double common = lens::common_marks(form.a, form.b);
  if (common < lens::least_common_marks) return offsets_of_each(form, common);
  const lens::MarkAngles angles = lens::mark_angles(form.a, form.b, strip_geometry);
  return {angles.a_rad, angles.b_rad, angles.mean_se_rad, true, common};
}

void apply_turns(Track& track, const std::vector<EndPair>& ends, const Levers& levers,
                 const Offsets& offsets, const std::vector<std::size_t>& which) {
  for (const std::size_t k : which) {
    EndPair shifted = ends[k];
    shifted.a.turn_rad += offsets.a;
    shifted.b.turn_rad += offsets.b;
    const Solved solved = solve(shifted, levers);
    if (solved.given) track.axis_rad[k] += solved.turn_rad;
  }
}

// Of the path's own frames; what was followed beside it is not steady.
double steady_share(const Track& track, std::size_t frames_of_path,
                    const std::vector<FineAxis>& frames) {
  std::size_t steady = 0;
  for (std::size_t k = 0; k < track.frame.size(); ++k)
    steady += !track.followed[k] && frames[track.frame[k]].keeps() ? 1 : 0;
  return static_cast<double>(steady) / static_cast<double>(frames_of_path);
}

// What both ends look like and where their marks lie, once the track follows them.
struct Learned {
  std::vector<std::size_t> teaching;
  std::vector<float> weight;
  PairTemplate form;
  Offsets offsets;
  std::optional<double> line_se;  // of the centre, where one end's own line gave it
  std::optional<int> only_end;    // 0: A, 1: B, where the other one is not to be learned from

  bool leaves_a() const {
    return only_end ? *only_end == 1 : lens::power(form.a) < lens::power(form.b);
  }
  // What is not the lens's takes no part.
  void leave_out(std::vector<EndPair>& ends) const {
    if (!only_end) return;
    for (EndPair& pair : ends) (*only_end == 1 ? pair.a : pair.b) = {};
  }
  void find_offsets() {
    offsets =
        only_end ? offsets_of_each(form, lens::common_marks(form.a, form.b)) : offsets_of(form);
  }
  Levers levers() const { return {form.a.mean_distance, form.b.mean_distance}; }
};

Learned learn_ends(const Source& source, std::span<const double> time_s, int threads,
                   std::optional<int> only_end, Track& track) {
  Learned out;
  out.only_end = only_end;
  out.teaching = teaching_frames(track, 160);
  out.weight.assign(out.teaching.size(), 1.0F);
  out.form = teach(source, track, out.teaching, out.weight, threads);
  for (int round = 0; round < 3; ++round) {
    const auto which = round < 2 ? out.teaching : some_of(track, time_s, centre_step_s);
    out.find_offsets();
    auto ends = measure(source, track, out.form, which, threads);
    out.leave_out(ends);
    if (round == 2) {
      // The whole stretch once, so that the centres follow the eye's tilt everywhere.
      for (EndPair& pair : ends) {
        pair.a.turn_rad += out.offsets.a;
        pair.b.turn_rad += out.offsets.b;
      }
      smooth_centres(track, ends, out.levers(), time_s);
      break;
    }
    apply_turns(track, ends, out.levers(), out.offsets, which);
    for (std::size_t k = 0; k < which.size(); ++k) {
      const auto& pair = ends[which[k]];
      out.weight[k] = shows(pair.a) || shows(pair.b) ? 1.0F : 0.05F;
    }
    out.form = teach(source, track, out.teaching, out.weight, threads);
  }
  // Frames outside the teaching set still lie on the path's whole degrees; that is within the
  // template's reach.
  out.form = teach(source, track, out.teaching, out.weight, threads);
  out.find_offsets();
  return out;
}

// Where one end alone is read.
void centre_by_line(const Source& source, int threads, Track& track, Learned& learned) {
  const bool leaves_a = learned.leaves_a();
  for (int round = 0; round < 2 && !learned.offsets.of_both; ++round) {
    const auto se = centre_on_line(track, learned.form, !leaves_a);
    if (!se) break;
    learned.line_se = se;
    learned.form = teach(source, track, learned.teaching, learned.weight, threads);
    learned.find_offsets();
  }
}

Measured measure_all(const Source& source, const Track& track, const Learned& learned,
                     int threads) {
  Measured out{measure(source, track, learned.form, all_of(track), threads),
               std::vector<Solved>(track.frame.size()), learned.levers(), 1.0};
  for (std::size_t k = 0; k < out.ends.size(); ++k) {
    EndPair& pair = out.ends[k];
    if (track.averaged[k] && !(shows(pair.a) && shows(pair.b))) pair = *track.averaged[k];
    pair.a.turn_rad += learned.offsets.a;
    pair.b.turn_rad += learned.offsets.b;
    if (!learned.offsets.of_both) (learned.leaves_a() ? pair.a : pair.b) = {};
    out.solved[k] = solve(pair, out.levers);
  }
  out.scatter = robust_scatter(track, out.solved);
  return out;
}

FineReport report_of(const Learned& learned) {
  FineReport report;
  report.frames = static_cast<int>(learned.teaching.size());
  report.template_se_rad = std::hypot(report.template_se_rad, learned.offsets.mean_se_rad);
  report.both_ends = learned.offsets.of_both;
  report.distance = learned.levers().mean();
  report.likeness = lens::likeness(learned.form.a, learned.form.b);
  report.common_marks = learned.offsets.common_marks;
  if (learned.line_se) report.centre_sd = std::min(report.centre_sd, *learned.line_se);
  return report;
}

// What the frames say by what was learned; fills the entries of this lens's frames.
FineReport read_frames(std::span<const double> time_s, const Track& track,
                       const std::vector<double>& path_axis_rad, Phase phase,
                       const Learned& learned, const Measured& measured, bool smoothing,
                       std::vector<FineAxis>& frames) {
  FineReport report = report_of(learned);
  report.scatter = measured.scatter;
  const AxisHistory history =
      axis_history(track, measured, path_axis_rad, time_s, report.centre_sd);
  report.slow_excess = slow_excess(track, history.readings, time_s);
  const std::vector<double> wandering = wander(track, history, time_s);
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    FineAxis& out = frames[track.frame[k]];
    const timeline::SmoothedEnds& smoothed = history.smoothed[k];
    out.phase = phase;
    out.axis_rad = smoothed.value_rad;
    out.se_rad = std::hypot(report.slow_excess * smoothed.noise_se_rad, smoothed.centre_se_rad,
                            wandering[k]);
    out.ends = history.ends[k];
    out.step = history.steps[k];
    out.own = history.readings[k];
    if (!smoothing && out.own.given) {
      out.axis_rad = out.own.value_rad;
      out.se_rad = out.own.se_rad;
    }
    out.end_a = shows(measured.ends[k].a);
    out.end_b = shows(measured.ends[k].b);
    out.centre = track.centre[k];
    out.seen_rad = out.axis_rad;
    // Where the path is doubted, so is that the lens rests.
    out.rests = history.resting[k] && track.trust[k] > least_probability;
    out.given = smoothing || out.own.given;
    out.followed = track.followed[k];
  }
  return report;
}

// The path's axes, unwrapped; what was followed where it is not sure.
std::vector<double> path_axis_of(const Track& track, const FrameReading& coarse) {
  std::vector<double> out;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    const double path = track.followed[k]
                            ? track.axis_rad[k]
                            : angle::rad_from_deg(coarse.path.axis_deg[track.frame[k]]);
    out.push_back(out.empty() ? path : out.back() + angle::wrap_deviation(path - out.back()));
  }
  return out;
}

// Where a lens may lie though the path has none: the previous one before the new one comes, the new
// one after the previous one was seen last.
std::vector<char> free_frames(const FrameReading& coarse, const std::vector<FineAxis>& frames,
                              Phase phase) {
  std::vector<char> out(frames.size(), 0);
  std::size_t from = 0;
  std::size_t to = frames.size();
  for (std::size_t k = 0; k < frames.size(); ++k) {
    const bool previous =
        coarse.path.phase[k] == Phase::Previous || frames[k].phase == Phase::Previous;
    if (phase == Phase::New && previous) from = k + 1;
    if (phase == Phase::Previous && coarse.path.phase[k] == Phase::New) to = std::min(to, k);
  }
  for (std::size_t k = from; k < to; ++k) out[k] = coarse.path.phase[k] == Phase::None ? 1 : 0;
  return out;
}

void clear_phase(std::vector<FineAxis>& frames, Phase phase) {
  for (FineAxis& frame : frames)
    if (frame.phase == phase) frame = {};
}

FineReport refine_lens(const Source& source, std::span<const double> time_s,
                       const FrameReading& coarse, Phase phase, bool smoothing, int threads,
                       std::vector<FineAxis>& frames) {
  // Two ends of one lens turn together: where both were read right 0.62 of the frames and more keep
  // to the axis, mostly over 0.8; where one of them was clutter, or the centre wrong, 0.4 did.
  constexpr double least_steady_of_both = 0.5;
  Track track = track_of(coarse, phase);
  if (track.frame.empty()) return {};
  const std::vector<char> is_free = free_frames(coarse, frames, phase);
  std::optional<int> only_end;
  FineReport report;
  while (true) {
    Learned learned = learn_ends(source, time_s, threads, only_end, track);
    centre_by_line(source, threads, track, learned);
    clear_phase(frames, phase);
    const Track all = learned.offsets.of_both
                          ? followed(track, source, time_s, coarse, is_free,
                                     {learned.form, learned.offsets.a, learned.offsets.b}, threads)
                          : track;
    const Measured measured = measure_all(source, all, learned, threads);
    report = read_frames(time_s, all, path_axis_of(all, coarse), phase, learned, measured,
                         smoothing, frames);
    report.steady_share = steady_share(all, track.frame.size(), frames);
    if (!report.both_ends || report.steady_share >= least_steady_of_both) break;
    only_end = steadier_end(all, measured.ends).value_or(learned.leaves_a() ? 1 : 0);
    track = track_of(coarse, phase);
  }
  find_settled(track, coarse, time_s, report);
  return report;
}

}  // namespace

FineReading refine(const lens::PatchStore& patches, std::span<const double> time_s,
                   const WindowReading& windows, const FrameReading& coarse, bool smoothing,
                   int threads) {
  FineReading reading;
  reading.frames.resize(patches.size());
  const auto refined = [&](const std::optional<MarkSignature>& signature, Phase phase) {
    Source source{patches, windows, signature && signature->light, false, {}};
    if (signature) source.distances = lens::mark_distances(signature->profile, radial_grid);
    const FineReport beside =
        refine_lens(source, time_s, coarse, phase, smoothing, threads, reading.frames);
    if (beside.both_ends || beside.frames == 0) return beside;
    // Where an edge lies on the marks of one end, what is left beside it may not be enough.
    source.through_rings = true;
    std::vector<FineAxis> frames(reading.frames);
    const FineReport through =
        refine_lens(source, time_s, coarse, phase, smoothing, threads, frames);
    if (!through.both_ends) return beside;
    reading.frames = std::move(frames);
    return through;
  };
  reading.previous = refined(windows.previous, Phase::Previous);
  reading.current = refined(windows.current, Phase::New);
  return reading;
}

}  // namespace rhumb::analyze
