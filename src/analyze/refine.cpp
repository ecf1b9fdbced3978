#include "analyze/refine.h"

#include <algorithm>
#include <cmath>

#include "analyze/axis_history.h"
#include "analyze/end_strips.h"
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

Track track_of(const FrameReading& coarse, Phase phase) {
  Track track;
  double unwrapped = 0.0;
  for (std::size_t frame = 0; frame < coarse.path.phase.size(); ++frame) {
    if (coarse.path.phase[frame] != phase) continue;
    const double axis = angle::rad_from_deg(coarse.path.axis_deg[frame]);
    unwrapped = track.frame.empty() ? axis : unwrapped + angle::wrap_deviation(axis - unwrapped);
    track.frame.push_back(frame);
    track.axis_rad.push_back(unwrapped);
    track.centre.push_back(coarse.centre[frame]);
    track.resting.push_back(!coarse.path.moving[frame]);
    track.trust.push_back(coarse.posterior.near_path[frame]);
  }
  return track;
}

// At most `most` frames in which the lens rests and the path is trusted; of all frames when too few
// rest.
std::vector<std::size_t> teaching_frames(const Track& track, std::size_t most) {
  std::vector<std::size_t> good;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    if (track.resting[k] && track.trust[k] > 0.8) good.push_back(k);
  }
  if (good.size() < 5) {
    good.clear();
    for (std::size_t k = 0; k < track.frame.size(); ++k) good.push_back(k);
  }
  if (good.size() <= most) return good;
  std::vector<std::size_t> spread;
  for (std::size_t k = 0; k < most; ++k) spread.push_back(good[k * good.size() / most]);
  return spread;
}

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

// Frames at least `step_s` apart, enough for what changes slowly.
std::vector<std::size_t> some_of(const Track& track, std::span<const double> time_s,
                                 double step_s) {
  std::vector<std::size_t> some;
  for (std::size_t k = 0; k < track.frame.size(); ++k) {
    if (some.empty() || time_s[track.frame[k]] >= time_s[track.frame[some.back()]] + step_s)
      some.push_back(k);
  }
  return some;
}

std::vector<std::size_t> all_of(const Track& track) {
  std::vector<std::size_t> all(track.frame.size());
  for (std::size_t k = 0; k < all.size(); ++k) all[k] = k;
  return all;
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

Offsets offsets_of(const PairTemplate& form) {
  const double common = lens::common_marks(form.a, form.b);
  if (common < lens::least_common_marks)
    return {lens::symmetric_angle(form.a, strip_geometry),
            lens::symmetric_angle(form.b, strip_geometry), 0.0, false, common};
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

double steady_share(const Track& track, const std::vector<FineAxis>& frames) {
  constexpr double steady_rad = 0.01;
  const auto steady = std::count_if(track.frame.begin(), track.frame.end(), [&](std::size_t frame) {
    const FineAxis& fine = frames[frame];
    return fine.own.given && std::abs(fine.own.value_rad - fine.seen_rad) < steady_rad;
  });
  return static_cast<double>(steady) / static_cast<double>(track.frame.size());
}

FineReport refine_lens(const Source& source, std::span<const double> time_s,
                       const FrameReading& coarse, Phase phase, bool smoothing, int threads,
                       std::vector<FineAxis>& frames) {
  FineReport report;
  Track track = track_of(coarse, phase);
  if (track.frame.empty()) return report;
  const std::vector<double> path_axis = track.axis_rad;
  const auto teaching = teaching_frames(track, 160);
  report.frames = static_cast<int>(teaching.size());
  std::vector<float> weight(teaching.size(), 1.0F);
  PairTemplate form = teach(source, track, teaching, weight, threads);
  Offsets offsets;
  Levers levers{form.a.mean_distance, form.b.mean_distance};
  for (int round = 0; round < 3; ++round) {
    const auto which = round < 2 ? teaching : some_of(track, time_s, centre_step_s);
    offsets = offsets_of(form);
    auto ends = measure(source, track, form, which, threads);
    if (round == 2) {
      // The whole stretch once, so that the centres follow the eye's tilt everywhere.
      for (EndPair& pair : ends) {
        pair.a.turn_rad += offsets.a;
        pair.b.turn_rad += offsets.b;
      }
      smooth_centres(track, ends, levers, time_s);
      break;
    }
    apply_turns(track, ends, levers, offsets, which);
    for (std::size_t k = 0; k < which.size(); ++k) {
      const auto& pair = ends[which[k]];
      weight[k] = shows(pair.a) || shows(pair.b) ? 1.0F : 0.05F;
    }
    form = teach(source, track, teaching, weight, threads);
    levers = {form.a.mean_distance, form.b.mean_distance};
  }
  // Frames outside the teaching set still lie on the path's whole degrees; that is within the
  // template's reach.
  form = teach(source, track, teaching, weight, threads);
  offsets = offsets_of(form);
  report.template_se_rad = std::hypot(report.template_se_rad, offsets.mean_se_rad);
  const bool weaker_a = lens::power(form.a) < lens::power(form.b);
  std::optional<double> line_se;
  for (int round = 0; round < 2 && !offsets.of_both; ++round) {
    const auto se = centre_on_line(track, form, !weaker_a);
    if (!se) break;
    line_se = se;
    form = teach(source, track, teaching, weight, threads);
    offsets = offsets_of(form);
  }
  levers = {form.a.mean_distance, form.b.mean_distance};
  report.both_ends = offsets.of_both;
  report.distance = levers.mean();
  report.likeness = lens::likeness(form.a, form.b);
  report.common_marks = offsets.common_marks;
  const auto all = all_of(track);
  auto ends = measure(source, track, form, all, threads);
  std::vector<Solved> solved(track.frame.size());
  for (const std::size_t k : all) {
    ends[k].a.turn_rad += offsets.a;
    ends[k].b.turn_rad += offsets.b;
    if (!offsets.of_both) (weaker_a ? ends[k].a : ends[k].b) = {};
    solved[k] = solve(ends[k], levers);
  }
  report.scatter = robust_scatter(track, solved);
  const auto [readings, smoothed, resting] =
      axis_history(track, solved, report.scatter, path_axis, time_s);
  report.slow_excess = slow_excess(track, readings, time_s);
  const std::vector<double> wandering = wander(track, resting, smoothed, time_s);
  const std::vector<double> centre_error = centre_errors(track, ends, levers, line_se, time_s);
  for (const std::size_t k : all) {
    FineAxis& out = frames[track.frame[k]];
    out.phase = phase;
    out.axis_rad = smoothed[k].value_rad;
    out.se_rad = std::hypot(report.slow_excess * smoothed[k].se_rad, centre_error[k], wandering[k]);
    out.own = readings[k];
    if (!smoothing && readings[k].given) {
      out.axis_rad = readings[k].value_rad;
      out.se_rad = readings[k].se_rad;
    }
    out.end_a = shows(ends[k].a);
    out.end_b = shows(ends[k].b);
    out.centre = track.centre[k];
    out.seen_rad = out.axis_rad;
    // Where the path is doubted, so is that the lens rests.
    out.rests = resting[k] && track.trust[k] > least_probability;
    out.given = smoothing || readings[k].given;
  }
  report.steady_share = steady_share(track, frames);
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
