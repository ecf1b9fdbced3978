#include "analyze/candidates.h"

#include <algorithm>

namespace rhumb::analyze {
namespace {

using timeline::AxisEvidence;
using timeline::Phase;

float best_total(const lens::AxisScores& scores) {
  return *std::max_element(scores.total.begin(), scores.total.end());
}

// What a window must exceed to speak for marks: a little under half of what the better windows
// reach. Clear marks make the rest of the recording clearly empty; faint ones are given the benefit
// of adding up.
float chance_level(std::vector<float> best_totals) {
  if (best_totals.empty()) return 2.0F;
  const auto place =
      best_totals.begin() + static_cast<std::ptrdiff_t>(3 * (best_totals.size() - 1) / 4);
  std::nth_element(best_totals.begin(), place, best_totals.end());
  return std::clamp(0.45F * *place, 1.5F, 6.0F);
}

using EvidenceBySupposition = std::vector<std::vector<AxisEvidence>>;

EvidenceBySupposition evidence_of_lens(const std::vector<Window>& windows, std::size_t lens,
                                       std::size_t suppositions) {
  static const lens::AxisScores nothing_seen;
  EvidenceBySupposition out;
  for (std::size_t k = 0; k < suppositions; ++k) {
    std::vector<const lens::AxisScores*> scores(windows.size(), nullptr);
    for (std::size_t step = 0; step < windows.size(); ++step) {
      const auto& own = windows[step].scores[lens];
      if (windows[step].searched) scores[step] = own.empty() ? &nothing_seen : &own[k];
    }
    out.push_back(evidence_from(scores));
  }
  return out;
}

bool has_new_lens(const timeline::AxisPath& path) {
  return std::find(path.phase.begin(), path.phase.end(), Phase::New) != path.phase.end();
}

}  // namespace

std::vector<AxisEvidence> evidence_from(const std::vector<const lens::AxisScores*>& scores) {
  std::vector<float> best;
  for (const lens::AxisScores* one : scores) {
    if (one != nullptr) best.push_back(best_total(*one));
  }
  const float chance = chance_level(std::move(best));
  std::vector<AxisEvidence> out(scores.size());
  for (std::size_t k = 0; k < scores.size(); ++k) {
    if (scores[k] == nullptr) continue;
    for (std::size_t axis = 0; axis < lens::axis_count; ++axis)
      out[k].log_ratio[axis] = std::max(-6.0F, scores[k]->total[axis] - chance);
  }
  return out;
}

timeline::AxisModelOptions model_for(const LensPrior& prior, double step_s) {
  timeline::AxisModelOptions options;
  options.step_s = step_s;
  options.previous_lens = prior.previous_lens;
  return options;
}

std::vector<Candidate> candidates_among(const std::vector<Window>& windows,
                                        std::size_t suppositions, const LensPrior& prior,
                                        double step_s) {
  const auto of_previous = prior.previous_lens
                               ? evidence_of_lens(windows, 0, suppositions)
                               : EvidenceBySupposition{std::vector<AxisEvidence>(windows.size())};
  const auto of_current = evidence_of_lens(windows, 1, suppositions);
  std::vector<Candidate> candidates;
  for (std::size_t previous = 0; previous < of_previous.size(); ++previous) {
    for (std::size_t current = 0; current < suppositions; ++current) {
      candidates.push_back({previous, current,
                            timeline::most_probable_path(of_previous[previous], of_current[current],
                                                         model_for(prior, step_s))});
    }
  }
  const auto probability = [](const Candidate& one) {
    return one.path.log_ratio + one.path.log_prior;
  };
  std::stable_sort(
      candidates.begin(), candidates.end(),
      [&](const Candidate& a, const Candidate& b) { return probability(a) > probability(b); });
  std::vector<Candidate> kept;
  bool alike = !prior.previous_lens;
  for (Candidate& candidate : candidates) {
    const auto among_kept = [&kept](const auto& like) {
      return std::any_of(kept.begin(), kept.end(), like);
    };
    const bool new_kind =
        !among_kept([&](const Candidate& one) { return one.current == candidate.current; });
    const bool first_alike = !alike && candidate.previous == candidate.current;
    alike = alike || first_alike;
    if (!new_kind && !first_alike && candidate.current != kept.front().current) continue;
    // Without a new lens in it, a history says the same whatever a new lens would look like.
    const bool said = !has_new_lens(candidate.path) && among_kept([&](const Candidate& one) {
      return one.previous == candidate.previous && !has_new_lens(one.path);
    });
    if (!said) kept.push_back(std::move(candidate));
  }
  return kept;
}

}  // namespace rhumb::analyze
