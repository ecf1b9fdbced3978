#include "analyze/zero_meridian.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

constexpr double z95 = 1.959963985;
// 99 % points of chi square for 1, 2, 3 degrees of freedom (tables; from memory).
constexpr std::array<double, 3> beyond = {6.63, 9.21, 11.34};

// Values on the turn of the first, and standard errors that weights can be made of. What is known
// modulo a half turn comes last, whatever the order in the case file: it can't say which turn.
std::vector<ZeroMeridian> taking_part(std::span<const ZeroMeridian> zeros) {
  const bool any_absolute =
      std::any_of(zeros.begin(), zeros.end(), [](const auto& one) { return !one.relative; });
  std::vector<ZeroMeridian> ordered(zeros.begin(), zeros.end());
  std::stable_partition(ordered.begin(), ordered.end(),
                        [](const auto& one) { return !one.axis_only(); });
  std::vector<ZeroMeridian> used;
  for (ZeroMeridian one : ordered) {
    if (any_absolute && one.relative) continue;
    const double first = used.empty() ? 0.0 : used.front().rad;
    one.rad = first + (one.axis_only() ? angle::wrap_deviation(one.rad - first)
                                       : angle::wrap_rotation(one.rad - first));
    one.se_rad = std::max(1e-4, one.se_rad);
    used.push_back(one);
  }
  return used;
}

struct Mean {
  double rad = 0.0;
  double se_rad = 0.0;
};

// By inverse variance, of all (ink and others) or of one of the two.
template <typename Wanted>
std::optional<Mean> mean_of(const std::vector<ZeroMeridian>& used, const Wanted& wanted) {
  double weights = 0.0;
  double sum = 0.0;
  for (const ZeroMeridian& one : used) {
    if (!wanted(one)) continue;
    weights += 1.0 / (one.se_rad * one.se_rad);
    sum += one.rad / (one.se_rad * one.se_rad);
  }
  if (weights <= 0.0) return std::nullopt;
  return Mean{sum / weights, std::sqrt(1.0 / weights)};
}

// The value in the frame of the common zero, so that the parts of a deviation add up; the interval
// from what the others and the ink say by themselves, whatever they make of each other.
std::optional<outcome::Interval> marking_of_ink(const std::vector<ZeroMeridian>& used,
                                                double zero_rad) {
  const auto is_ink = [](const ZeroMeridian& one) {
    return one.kind == casefile::ReferenceKind::Ink;
  };
  const auto ink = mean_of(used, is_ink);
  const auto others = mean_of(used, [&](const ZeroMeridian& one) { return !is_ink(one); });
  if (!ink || !others) return std::nullopt;
  const double off = zero_rad - ink->rad;
  const double half =
      z95 * std::hypot(others->se_rad, ink->se_rad) + std::abs(zero_rad - others->rad);
  return outcome::Interval{off, off - half, off + half};
}

}  // namespace

std::optional<CombinedZero> combine(std::span<const ZeroMeridian> zeros) {
  const std::vector<ZeroMeridian> used = taking_part(zeros);
  if (used.empty()) return std::nullopt;
  CombinedZero out;
  const Mean mean = *mean_of(used, [](const ZeroMeridian&) { return true; });
  out.rad = mean.rad;
  out.se_rad = mean.se_rad;
  for (const ZeroMeridian& one : used) {
    out.doubled_meridians += std::pow(mean.se_rad / one.se_rad, 2.0) * one.doubled_meridians;
    out.relative = out.relative || one.relative;
  }
  double chi_square = 0.0;
  double widest = 0.0;
  for (const ZeroMeridian& one : used) {
    chi_square += std::pow((one.rad - out.rad) / one.se_rad, 2.0);
    widest = std::max(widest, std::abs(one.rad - out.rad));
  }
  if (used.size() > 1 && chi_square > beyond[std::min(beyond.size(), used.size() - 1) - 1]) {
    out.disagree_by_rad = widest;
    out.se_rad = std::max(out.se_rad, widest);
  }
  out.reference_marking = marking_of_ink(used, out.rad);
  return out;
}

}  // namespace rhumb::analyze
