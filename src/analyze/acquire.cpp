#include "analyze/acquire.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analyze/candidates.h"
#include "analyze/lead.h"
#include "analyze/learn.h"
#include "analyze/parallel.h"
#include "analyze/rival_ends.h"

namespace rhumb::analyze {
namespace {

using timeline::AxisEvidence;
using timeline::AxisPath;
using timeline::Phase;

// Nothing lighter than the glow needs to be looked for where darker marks explain nearly every
// window with a lens.
bool clearly_explained(const AxisPath& path) {
  constexpr double clear_log_ratio =
      7.0;  // of the 8 to 9 that one window with both ends clear reaches
  constexpr std::ptrdiff_t least_windows = 6;
  const auto with_lens = std::count_if(path.phase.begin(), path.phase.end(),
                                       [](Phase phase) { return phase != Phase::None; });
  return with_lens >= least_windows &&
         path.log_ratio >= clear_log_ratio * static_cast<double>(with_lens);
}

const lens::ContrastMap& contrast_of(const Window& window, bool light) {
  return light ? window.light_contrast : window.contrast;
}

using Suppositions = std::array<std::vector<Supposition>, 2>;  // by lens

// Fills the scores of all suppositions of dark, or of light, marks in every window.
void search_all(std::vector<Window>& windows, const Suppositions& suppositions, bool light,
                bool previous_lens, const lens::PatchGeometry& geometry, int threads) {
  std::vector<lens::Marks> marks;
  std::vector<std::pair<std::size_t, std::size_t>> place;
  for (std::size_t lens = previous_lens ? 0 : 1; lens < 2; ++lens) {
    for (std::size_t k = 0; k < suppositions[lens].size(); ++k) {
      if (suppositions[lens][k].light != light) continue;
      marks.push_back(suppositions[lens][k].marks);
      place.emplace_back(lens, k);
    }
  }
  lens::CentreGrid centres;  // up to 0.6 mm off
  centres.step = search_centre_step;
  centres.reach = 3;
  for_each_index(windows.size(), threads, [&](std::size_t step) {
    Window& window = windows[step];
    if (!window.has_contrast()) return;
    window.searched = true;
    auto found = lens::search_axis(contrast_of(window, light), window.inside, geometry, radial_grid,
                                   centres, marks);
    for (std::size_t k = 0; k < place.size(); ++k) {
      auto& scores = window.scores[place[k].first];
      scores.resize(suppositions[place[k].first].size());
      scores[place[k].second] = std::move(found[k]);
    }
  });
}

using Evidence = std::array<std::vector<AxisEvidence>, 2>;  // by lens

Evidence evidence_of(const std::vector<Window>& windows, const Acquired& acquired) {
  Evidence evidence;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    evidence[lens].assign(windows.size(), {});
    if (!acquired.signature[lens]) continue;
    std::vector<const lens::AxisScores*> scores(windows.size(), nullptr);
    for (std::size_t k = 0; k < windows.size(); ++k) {
      if (windows[k].searched) scores[k] = &acquired.scores[k][lens];
    }
    evidence[lens] = evidence_from(scores);
  }
  return evidence;
}

void score_all(const std::vector<Window>& windows, Acquired& learned,
               const lens::PatchGeometry& geometry, int threads) {
  learned.scores.assign(windows.size(), {});
  for_each_index(windows.size(), threads, [&](std::size_t step) {
    if (windows[step].has_contrast())
      learned.scores[step] = score_window(windows[step], learned, geometry);
  });
}

Acquired learn_from(const std::vector<Window>& windows, const Candidate& candidate,
                    const Suppositions& suppositions, const LensPrior& prior,
                    const lens::PatchGeometry& geometry, int threads) {
  Acquired learned;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    if (lens == 0 && !prior.previous_lens) continue;
    const std::size_t chosen = lens == 0 ? candidate.previous : candidate.current;
    learned.signature[lens] = learn_marks(
        windows, candidate.path, lens == 0 ? Phase::Previous : Phase::New,
        [&](std::size_t window) -> const lens::AxisScores& {
          return windows[window].scores[lens][chosen];
        },
        suppositions[lens][chosen].light, lens == 0 ? prior.previous : prior.current, geometry);
  }
  score_all(windows, learned, geometry, threads);
  return learned;
}

// Log probability of a history with what was learned from it. Both ends of a lens carry the same
// marks: of the evidence that a path collects only the share counts that one end's profile explains
// of the other's, the square of their correlation. Clutter has evidence at both ends too, but of
// two kinds. Marks lighter than the glow are rarer than reflexes and bubbles that look like them.
// What the history itself costs counts by the same share.
double shared_log_probability(const AxisPath& path, const Acquired& learned) {
  double sum = 0.0;
  for (std::size_t step = 0; step < path.phase.size(); ++step) {
    if (path.phase[step] == Phase::None) continue;
    const auto& signature = learned.signature[path.phase[step] == Phase::New ? 1 : 0];
    if (!signature) continue;
    constexpr double share_if_light = 0.6;  // as the gates on them stand to each other
    const double alike = std::max(0.0, signature->likeness);
    sum += (signature->light ? share_if_light : 1.0) * alike * alike *
           static_cast<double>(path.evidence[step]);
  }
  return path.log_ratio > 0.0 ? sum * (1.0 + path.log_prior / path.log_ratio) : 0.0;
}

// The search looks for the lens centre in coarse steps, among marks as they might be anywhere. With
// the axes and centres that the marks learned from it give, they are learned once more: sharper,
// and about a better centre.
Acquired learn_again(const std::vector<Window>& windows, const Acquired& first,
                     const AxisPath& path, const LensPrior& prior,
                     const lens::PatchGeometry& geometry, int threads) {
  Acquired again = first;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    if (!first.signature[lens]) continue;
    const auto learned = learn_marks(
        windows, path, lens == 0 ? Phase::Previous : Phase::New,
        [&](std::size_t window) -> const lens::AxisScores& { return first.scores[window][lens]; },
        first.signature[lens]->light, lens == 0 ? prior.previous : prior.current, geometry);
    if (learned) again.signature[lens] = learned;
  }
  score_all(windows, again, geometry, threads);
  return again;
}

// The lens centre of each window: its own where both ends are clear, else the typical one.
void place_centres(WindowReading& reading, const Acquired& learned) {
  reading.centre.assign(reading.windows.size(), Eigen::Vector2d::Zero());
  for (std::size_t step = 0; step < reading.windows.size(); ++step) {
    if (reading.path.axis_deg[step] < 0) continue;
    const std::size_t lens = reading.path.phase[step] == Phase::New ? 1 : 0;
    const auto& signature = learned.signature[lens];
    if (!signature) continue;
    reading.centre[step] = signature->centre;
    if (!reading.windows[step].searched) continue;
    const auto& found = learned.scores[step][lens];
    const auto axis = static_cast<std::size_t>(reading.path.axis_deg[step]);
    if (found.end_a[axis] > 4.0F && found.end_b[axis] > 4.0F) {
      reading.centre[step] = found.centre[axis].cast<double>();
    }
  }
}

}  // namespace

std::vector<Supposition> suppositions_for(const lens::StatedMarks& stated, bool any_pattern) {
  std::vector<Supposition> out;
  for (const lens::MarkLook look : lens::mark_looks) {
    const bool light = look == lens::MarkLook::LightAndGrey;
    if (!any_pattern) out.push_back({lens::pattern_of(look, stated, radial_grid), light});
    out.push_back({lens::uninformed_profile(look, stated.optic_radius, radial_grid), light});
  }
  return out;
}

std::array<lens::AxisScores, 2> score_window(const Window& window, const Acquired& acquired,
                                             const lens::PatchGeometry& geometry) {
  std::array<lens::AxisScores, 2> scores;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    const auto& signature = acquired.signature[lens];
    if (!signature) continue;
    lens::CentreGrid centres;
    centres.middle = signature->centre;
    centres.step = 0.025;
    centres.reach = 2;
    centres.spread = 0.04;
    const lens::Marks known = signature->profile;
    scores[lens] = lens::search_axis(contrast_of(window, signature->light), window.inside, geometry,
                                     radial_grid, centres, {&known, 1})
                       .front();
  }
  return scores;
}

Acquired acquire(std::vector<Window>& windows, const LensPrior& prior,
                 const lens::PatchGeometry& geometry, double step_s, int threads) {
  const Suppositions suppositions = {suppositions_for(prior.previous, prior.any_pattern),
                                     suppositions_for(prior.current, prior.any_pattern)};
  search_all(windows, suppositions, false, prior.previous_lens, geometry, threads);
  auto candidates = candidates_among(windows, suppositions[1].size(), prior, step_s);
  if (!clearly_explained(candidates.front().path)) {
    search_all(windows, suppositions, true, prior.previous_lens, geometry, threads);
    candidates = candidates_among(windows, suppositions[1].size(), prior, step_s);
  }
  Acquired best;
  AxisPath best_path;
  double best_probability = -std::numeric_limits<double>::infinity();
  for (const Candidate& candidate : candidates) {
    Acquired learned = learn_from(windows, candidate, suppositions, prior, geometry, threads);
    const Evidence evidence = evidence_of(windows, learned);
    const AxisPath path =
        timeline::most_probable_path(evidence[0], evidence[1], model_for(prior, step_s));
    const double probability = shared_log_probability(path, learned);
    if (probability <= best_probability) continue;
    best_probability = probability;
    best = std::move(learned);
    best_path = path;
  }
  if (!best_path.phase.empty())
    best = learn_again(windows, best, best_path, prior, geometry, threads);
  for (Window& window : windows) window.scores = {};
  return best;
}

void follow(WindowReading& reading, const Acquired& acquired, const LensPrior& prior,
            double step_s) {
  Evidence evidence = evidence_of(reading.windows, acquired);
  const Evidence as_seen = evidence;
  const auto model = model_for(prior, step_s);
  reading.path = timeline::most_probable_path(evidence[0], evidence[1], model);
  timeline::subtract_standing_clutter(reading.path, evidence[0], evidence[1]);
  reading.path = timeline::most_probable_path(evidence[0], evidence[1], model);
  reading.log_ratio = reading.path.log_ratio;
  reading.lead = leads(reading.path, as_seen[0], as_seen[1]);
  reading.lead_over_other_marks = leads(reading.path, as_seen[0], as_seen[1], another_mark_deg);
  for (std::size_t lens = 0; lens < 2; ++lens) {
    std::vector<const lens::AxisScores*> scores(reading.windows.size(), nullptr);
    for (std::size_t k = 0; k < scores.size(); ++k)
      if (reading.windows[k].searched) scores[k] = &acquired.scores[k][lens];
    const Phase phase = lens == 0 ? Phase::Previous : Phase::New;
    reading.changes[lens] =
        is_seen_to_change(reading.path, phase, reading.lead, as_seen[lens], scores);
    reading.clear_end_changes[lens] =
        is_seen_to_change(reading.path, phase, reading.lead_over_other_marks, as_seen[lens], scores,
                          {another_mark_deg, false});
    reading.rival_ends[lens] = rival_ends(reading.path, phase, scores);
  }
  reading.previous = acquired.signature[0];
  reading.current = acquired.signature[1];
  place_centres(reading, acquired);
}

}  // namespace rhumb::analyze
