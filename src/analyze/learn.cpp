#include "analyze/learn.h"

#include <algorithm>
#include <cmath>

#include "eye/median.h"
#include "lens/overlap.h"

namespace rhumb::analyze {
namespace {

using timeline::AxisPath;
using timeline::Phase;

double weaker_end(const lens::AxisScores& scores, int axis) {
  const auto index = static_cast<std::size_t>(axis);
  return std::min(scores.end_a[index], scores.end_b[index]);
}

bool both_ends_strong(const lens::AxisScores& scores, int axis) {
  return weaker_end(scores, axis) > 4.0;
}

bool rests(const AxisPath& path, std::size_t step) {
  const auto same = [&](std::size_t other) {
    return path.axis_deg[other] < 0 ||
           timeline::degrees_apart(path.axis_deg[other], path.axis_deg[step]) <= 2;
  };
  return (step == 0 || same(step - 1)) && (step + 1 == path.axis_deg.size() || same(step + 1));
}

// Beyond the optic's edge what is lighter and more colourful than its surroundings is no mark, but
// the rim of the glow along a pupil that is no circle about the lens.
void drop_rim_of_glow(lens::MarkProfile& profile, double optic_radius) {
  for (int distance = 0; distance < radial_grid.count; ++distance) {
    const auto index = static_cast<std::size_t>(distance);
    const bool rim = std::all_of(profile.weight.begin(), profile.weight.end(),
                                 [&](const auto& weights) { return weights[index] < 0.0F; });
    if (!rim || radial_grid.at(distance) <= optic_radius) continue;
    for (auto& weights : profile.weight) weights[index] = 0.0F;
  }
}

// Marks are short and lie on the optic. What is spread along the whole meridian is an instrument or
// a fold, what lies beyond the optic's edge a haptic.
bool could_be_marks(const lens::MarkProfile& profile, const lens::StatedMarks& stated,
                    bool lighter) {
  // 1.4 mm, the longest line, and as much again as the centre's error smears it: common practice,
  // no source.
  constexpr double widest = 17.0;  // steps of the radial grid
  constexpr double most_beyond = 0.25;
  double sum = 0.0;
  double squares = 0.0;
  double beyond = 0.0;
  for (int distance = 0; distance < radial_grid.count; ++distance) {
    double power = 0.0;
    for (const auto& weights : profile.weight) {
      power += std::pow(weights[static_cast<std::size_t>(distance)], 2.0);
    }
    sum += std::sqrt(power);
    squares += power;
    // From a centre a step of the grid beside its place marks seem to lie as much further out.
    if (radial_grid.at(distance) > stated.optic_radius + search_centre_step) beyond += power;
  }
  const double width = squares > 0.0 ? sum * sum / squares : 0.0;
  // A line is 0.6 mm long at least, a dot spans 0.25 mm: common practice, no source.
  const double narrowest = lighter ? (stated.lines ? 6.0 : 3.0 * stated.dots_per_end) : 0.0;
  return squares > 0.0 && width >= narrowest && width <= widest && beyond <= most_beyond * squares;
}

// What is shown along a meridian, summed over windows.
struct Along {
  std::array<std::vector<double>, lens::channel_count> sum;
  std::vector<double> count;

  Along() {
    constexpr auto distances = static_cast<std::size_t>(radial_grid.count);
    for (auto& channel : sum) channel.assign(distances, 0.0);
    count.assign(distances, 0.0);
  }
  void add(const lens::RayMap& rays, int ray) {
    for (int distance = 0; distance < radial_grid.count; ++distance) {
      if (!rays.usable(distance, ray)) continue;
      const auto index = static_cast<std::size_t>(distance);
      count[index] += 1.0;
      for (std::size_t channel = 0; channel < lens::channel_count; ++channel)
        sum[channel][index] += rays.value[channel](distance, ray);
    }
  }
};

// Normalised correlation of the two ends' profiles where both were seen, at the best of the shifts
// that the centre's step leaves.
double likeness(const Along& a, const Along& b) {
  constexpr int most_shift = 2;  // steps of the radial grid
  double best = -1.0;
  const int distances = static_cast<int>(a.count.size());
  for (int shift = -most_shift; shift <= most_shift; ++shift) {
    lens::Overlap common;
    for (int k = std::max(0, -shift); k < std::min(distances, distances - shift); ++k) {
      const auto at = static_cast<std::size_t>(k);
      const int shifted = k + shift;
      const auto other = static_cast<std::size_t>(shifted);
      if (a.count[at] == 0.0 || b.count[other] == 0.0) continue;
      for (std::size_t channel = 0; channel < lens::channel_count; ++channel) {
        common.add(channel, a.sum[channel][at] / a.count[at],
                   b.sum[channel][other] / b.count[other]);
      }
    }
    if (common.all_a() > 0.0 && common.all_b() > 0.0)
      best = std::max(best, lens::correlation_of_ends(common));
  }
  return best;
}

// The value at which half of the weight lies on either side.
double weighted_median(const std::vector<double>& values, const std::vector<double>& weights) {
  std::vector<std::size_t> order(values.size());
  for (std::size_t k = 0; k < order.size(); ++k) order[k] = k;
  std::sort(order.begin(), order.end(),
            [&](std::size_t a, std::size_t b) { return values[a] < values[b]; });
  double total = 0.0;
  for (const double weight : weights) total += weight;
  double below = 0.0;
  for (const std::size_t k : order) {
    below += weights[k];
    if (below >= 0.5 * total) return values[k];
  }
  return values[order.back()];
}

// Marks that are only greyer than the glow need none of the licence that lighter ones do.
bool lighter_than_glow(const lens::MarkProfile& profile) {
  constexpr double least_share = 0.1;  // of the contrast
  double luma = 0.0;
  double squares = 0.0;
  double lighter = 0.0;
  for (std::size_t channel = 0; channel < lens::channel_count; ++channel) {
    for (const float weight : profile.weight[channel]) {
      const double w = weight;
      squares += w * w;
      if (channel != 0) continue;
      luma += w;
      if (w < 0.0) lighter += w * w;
    }
  }
  return luma < 0.0 && lighter >= least_share * squares;
}

// The windows that a profile is learned from.
struct Shown {
  Along both;
  std::array<Along, 2> ends;
  std::vector<double> centre_x;
  std::vector<double> centre_y;
  std::vector<double> clearness;
  std::vector<double> end_scores;

  void add(const Window& window, bool light, const lens::AxisScores& scores, int axis_deg,
           const lens::PatchGeometry& geometry) {
    const auto axis = static_cast<std::size_t>(axis_deg);
    const Eigen::Vector2d centre = scores.centre[axis].cast<double>();
    const lens::RayMap rays = lens::ray_map(light ? window.light_contrast : window.contrast,
                                            window.inside, geometry, centre, radial_grid);
    end_scores.push_back(scores.end_a[axis]);
    end_scores.push_back(scores.end_b[axis]);
    // An end that is barely seen may be clutter, which draws the centre to itself.
    clearness.push_back(weaker_end(scores, axis_deg));
    centre_x.push_back(centre.x());
    centre_y.push_back(centre.y());
    for (std::size_t end = 0; end < 2; ++end) {
      const int ray = axis_deg + static_cast<int>(end) * lens::axis_count;
      both.add(rays, ray);
      ends[end].add(rays, ray);
    }
  }
};

// The windows of a phase that show both ends: those at rest, or all (the resting ones twice) where
// they are too few.
Shown windows_shown(const std::vector<Window>& windows, const AxisPath& path, Phase phase,
                    const ScoresOfWindow& scores_of, bool light,
                    const lens::PatchGeometry& geometry) {
  constexpr std::size_t enough = 3;
  Shown shown;
  for (const bool only_resting : {true, false}) {
    for (std::size_t step = 0; step < windows.size(); ++step) {
      if (path.phase[step] != phase || !windows[step].has_contrast()) continue;
      const lens::AxisScores& scores = scores_of(step);
      if (!both_ends_strong(scores, path.axis_deg[step])) continue;
      if (only_resting && !rests(path, step)) continue;
      shown.add(windows[step], light, scores, path.axis_deg[step], geometry);
    }
    if (shown.centre_x.size() >= enough) break;
  }
  return shown;
}

// Mean contrast by distance, less what may be noise.
lens::MarkProfile profile_of(const Along& both) {
  lens::MarkProfile profile;
  const double most_seen = *std::max_element(both.count.begin(), both.count.end());
  for (std::size_t channel = 0; channel < lens::channel_count; ++channel) {
    for (std::size_t index = 0; index < both.count.size(); ++index) {
      const double mean =
          both.count[index] > 0.15 * most_seen ? both.sum[channel][index] / both.count[index] : 0.0;
      // Soft threshold: what is not clearly there gets no say.
      const double kept = std::max(0.0, std::abs(mean) - 1.0);
      profile.weight[channel].push_back(static_cast<float>(std::copysign(kept, mean)));
    }
  }
  return profile;
}

// Inside the marks the meridian is empty: below this distance.
int empty_below(const lens::MarkProfile& profile) {
  float largest = 0.0F;
  for (const auto& weights : profile.weight)
    for (const float weight : weights) largest = std::max(largest, std::abs(weight));
  const auto holds_mark = [&](int index) {
    return std::any_of(profile.weight.begin(), profile.weight.end(), [&](const auto& weights) {
      return std::abs(weights[static_cast<std::size_t>(index)]) > 0.15F * largest;
    });
  };
  int first = 0;
  while (first < radial_grid.count && !holds_mark(first)) ++first;
  return first < radial_grid.count && first > 2 ? first - 2 : 0;
}

}  // namespace

std::optional<MarkSignature> learn_marks(const std::vector<Window>& windows, const AxisPath& path,
                                         Phase phase, const ScoresOfWindow& scores_of, bool light,
                                         const lens::StatedMarks& stated,
                                         const lens::PatchGeometry& geometry) {
  Shown shown = windows_shown(windows, path, phase, scores_of, light, geometry);
  if (shown.centre_x.empty()) return std::nullopt;
  MarkSignature signature;
  signature.windows = static_cast<int>(shown.centre_x.size());
  signature.likeness = likeness(shown.ends[0], shown.ends[1]);
  signature.centre = {weighted_median(shown.centre_x, shown.clearness),
                      weighted_median(shown.centre_y, shown.clearness)};
  signature.profile = profile_of(shown.both);
  // A mark is taken for one from a little under half of what these marks usually score.
  const double usual = eye::median_of(shown.end_scores);
  signature.profile.crossing = static_cast<float>(std::clamp(0.45 * usual, 3.5, 9.0));
  drop_rim_of_glow(signature.profile, stated.optic_radius);
  signature.light = light && lighter_than_glow(signature.profile);
  if (!could_be_marks(signature.profile, stated, signature.light)) return std::nullopt;
  signature.profile.empty_below = empty_below(signature.profile);
  return signature;
}

}  // namespace rhumb::analyze
