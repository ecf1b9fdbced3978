#include "analyze/acquire.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analyze/learn.h"
#include "analyze/parallel.h"

namespace rhumb::analyze {
namespace {

using timeline::AxisEvidence;
using timeline::AxisPath;
using timeline::Phase;

constexpr std::size_t learned_candidates = 4;  // of the suppositions, that are learned from

float best_total(const lens::AxisScores& scores) {
  return *std::max_element(scores.total.begin(), scores.total.end());
}

// What a window must exceed to speak for marks: a little under half of what the better windows reach. Clear marks
// make the rest of the recording clearly empty; faint ones are given the benefit of adding up.
float chance_level(std::vector<float> best_totals) {
  if (best_totals.empty()) return 2.0F;
  const auto place = best_totals.begin() + static_cast<std::ptrdiff_t>(3 * (best_totals.size() - 1) / 4);
  std::nth_element(best_totals.begin(), place, best_totals.end());
  return std::clamp(0.45F * *place, 1.5F, 6.0F);
}

// `scores_of(k)`: the scores of window k.
template <typename ScoresOf>
std::vector<AxisEvidence> evidence_from(const std::vector<Window>& windows, const ScoresOf& scores_of) {
  std::vector<float> best;
  for (std::size_t k = 0; k < windows.size(); ++k) {
    if (windows[k].usable) best.push_back(best_total(scores_of(k)));
  }
  const float chance = chance_level(std::move(best));
  std::vector<AxisEvidence> out(windows.size());
  for (std::size_t k = 0; k < windows.size(); ++k) {
    if (!windows[k].usable) continue;
    const lens::AxisScores& scores = scores_of(k);
    for (std::size_t axis = 0; axis < lens::axis_count; ++axis) {
      out[k].log_ratio[axis] = std::max(-6.0F, scores.total[axis] - chance);
    }
  }
  return out;
}

timeline::AxisModelOptions model_for(const LensPrior& prior, double step_s) {
  timeline::AxisModelOptions options;
  options.step_s = step_s;
  options.previous_lens = prior.previous_lens;
  return options;
}

struct Candidate {
  std::size_t previous = 0;
  std::size_t current = 0;
  AxisPath path;
};

// The suppositions that explain the windows best, best first.
std::vector<Candidate> candidates_among(const std::vector<Window>& windows, std::size_t suppositions,
                                        const LensPrior& prior, double step_s) {
  std::array<std::vector<std::vector<AxisEvidence>>, 2> evidence;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    for (std::size_t k = 0; k < suppositions; ++k) {
      if (lens == 0 && !prior.previous_lens) {
        evidence[0].emplace_back(windows.size());
        break;
      }
      evidence[lens].push_back(
          evidence_from(windows, [&](std::size_t window) -> const lens::AxisScores& {
            return windows[window].scores[lens][k];
          }));
    }
  }
  std::vector<Candidate> candidates;
  for (std::size_t previous = 0; previous < evidence[0].size(); ++previous) {
    for (std::size_t current = 0; current < suppositions; ++current) {
      candidates.push_back({previous, current,
                            timeline::most_probable_path(evidence[0][previous], evidence[1][current],
                                                         model_for(prior, step_s))});
    }
  }
  std::stable_sort(candidates.begin(), candidates.end(), [](const Candidate& a, const Candidate& b) {
    return a.path.log_ratio > b.path.log_ratio;
  });
  if (candidates.size() > learned_candidates) candidates.resize(learned_candidates);
  return candidates;
}

struct Learned {
  std::array<std::optional<MarkSignature>, 2> signature;
  std::vector<std::array<lens::AxisScores, 2>> scores;  // by window
  std::array<std::vector<AxisEvidence>, 2> evidence;
  AxisPath path;
};

// The windows again, with what the marks really look like.
void search_again(const std::vector<Window>& windows, const lens::PatchGeometry& geometry, int threads,
                  Learned& learned) {
  learned.scores.assign(windows.size(), {});
  for_each_index(windows.size(), threads, [&](std::size_t step) {
    if (!windows[step].usable) return;
    for (std::size_t lens = 0; lens < 2; ++lens) {
      const auto& signature = learned.signature[lens];
      if (!signature) continue;
      lens::CentreGrid centres;
      centres.middle = signature->centre;
      centres.step = 0.02;
      centres.reach = 3;
      centres.spread = 0.04;
      const Supposition known{signature->profile, signature->light};
      learned.scores[step][lens] = search_window(windows[step], geometry, {&known, 1}, centres).front();
    }
  });
  for (std::size_t lens = 0; lens < 2; ++lens) {
    learned.evidence[lens].assign(windows.size(), {});
    if (!learned.signature[lens]) continue;
    learned.evidence[lens] = evidence_from(windows, [&](std::size_t window) -> const lens::AxisScores& {
      return learned.scores[window][lens];
    });
  }
}

Learned learn_from(const std::vector<Window>& windows, const Candidate& candidate,
                   const std::array<std::vector<Supposition>, 2>& suppositions, const LensPrior& prior,
                   const lens::PatchGeometry& geometry, double step_s, int threads) {
  Learned learned;
  for (std::size_t lens = 0; lens < 2; ++lens) {
    if (lens == 0 && !prior.previous_lens) continue;
    const std::size_t chosen = lens == 0 ? candidate.previous : candidate.current;
    learned.signature[lens] =
        learn_marks(windows, candidate.path, lens == 0 ? Phase::Previous : Phase::New,
                    [&](std::size_t window) -> const lens::AxisScores& {
                      return windows[window].scores[lens][chosen];
                    },
                    suppositions[lens][chosen].light,
                    lens == 0 ? prior.previous.optic_radius : prior.current.optic_radius, geometry);
  }
  search_again(windows, geometry, threads, learned);
  learned.path =
      timeline::most_probable_path(learned.evidence[0], learned.evidence[1], model_for(prior, step_s));
  return learned;
}

// The lens centre of each window: its own where both ends are clear, else the typical one.
void place_centres(WindowReading& reading, const Learned& learned) {
  reading.centre.assign(reading.windows.size(), Eigen::Vector2d::Zero());
  for (std::size_t step = 0; step < reading.windows.size(); ++step) {
    if (reading.path.axis_deg[step] < 0) continue;
    const std::size_t lens = reading.path.phase[step] == Phase::New ? 1 : 0;
    const auto& signature = learned.signature[lens];
    if (!signature) continue;
    reading.centre[step] = signature->centre;
    if (!reading.windows[step].usable) continue;
    const auto& found = learned.scores[step][lens];
    const auto axis = static_cast<std::size_t>(reading.path.axis_deg[step]);
    if (found.end_a[axis] > 4.0F && found.end_b[axis] > 4.0F) {
      reading.centre[step] = found.centre[axis].cast<double>();
    }
  }
}

}  // namespace

std::vector<Supposition> suppositions_for(const lens::StatedMarks& stated) {
  std::vector<Supposition> out;
  for (const lens::MarkLook look : lens::mark_looks) {
    const bool light = look == lens::MarkLook::LightAndGrey;
    out.push_back({lens::pattern_of(look, stated, radial_grid), light});
    out.push_back({lens::uninformed_profile(look, stated.optic_radius, radial_grid), light});
  }
  return out;
}

std::vector<lens::AxisScores> search_window(const Window& window, const lens::PatchGeometry& geometry,
                                            std::span<const Supposition> suppositions,
                                            const lens::CentreGrid& centres) {
  std::vector<lens::AxisScores> out(suppositions.size());
  for (const bool light : {false, true}) {
    std::vector<lens::Marks> marks;
    std::vector<std::size_t> place;
    for (std::size_t k = 0; k < suppositions.size(); ++k) {
      if (suppositions[k].light != light) continue;
      marks.push_back(suppositions[k].marks);
      place.push_back(k);
    }
    if (marks.empty()) continue;
    auto found = lens::search_axis(light ? window.light_contrast : window.contrast, window.inside, geometry,
                                   radial_grid, centres, marks);
    for (std::size_t k = 0; k < place.size(); ++k) out[place[k]] = std::move(found[k]);
  }
  return out;
}

void acquire(WindowReading& reading, const LensPrior& prior, const lens::PatchGeometry& geometry, double step_s,
             int threads) {
  const std::array<std::vector<Supposition>, 2> suppositions = {suppositions_for(prior.previous),
                                                                suppositions_for(prior.current)};
  std::optional<Learned> best;
  for (const Candidate& candidate :
       candidates_among(reading.windows, suppositions[1].size(), prior, step_s)) {
    Learned learned =
        learn_from(reading.windows, candidate, suppositions, prior, geometry, step_s, threads);
    if (!best || learned.path.log_ratio > best->path.log_ratio) best = std::move(learned);
  }
  timeline::subtract_standing_clutter(best->path, best->evidence[0], best->evidence[1]);
  reading.path =
      timeline::most_probable_path(best->evidence[0], best->evidence[1], model_for(prior, step_s));
  reading.log_ratio = reading.path.log_ratio;
  reading.previous = best->signature[0];
  reading.current = best->signature[1];
  place_centres(reading, *best);
}

}  // namespace rhumb::analyze
