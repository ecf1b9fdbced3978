#include "analyze/refraction.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "timeline/unbend.h"

namespace rhumb::analyze {
namespace {

using timeline::Phase;

// Standard deviation of the direction between two marks, with viscoelastic in the eye and after it
// was washed out. Estimated on recordings, see docs/method.md.
constexpr double unsettled_rad = 0.0058;
constexpr double settled_rad = 0.0024;

// Where the iris shows how much is bent: standard deviation of the axis by the bending of the iris
// (radians a limbal radius), and the most, since a narrowing pupil moves the iris too.
constexpr double by_bending = 1.75;
constexpr double most_rad = 0.007;
constexpr double unbent_rad = 0.0012;

// What a resting lens leaves of it: a slip during the wash-out looks like refraction and takes most
// of the gain away. Set on recordings, see docs/method.md.
constexpr double left_at_rest = 0.9;

std::vector<std::size_t> frames_of(const FineReading& fine, Phase phase) {
  std::vector<std::size_t> out;
  for (std::size_t k = 0; k < fine.frames.size(); ++k)
    if (fine.frames[k].phase == phase) out.push_back(k);
  return out;
}

// Whether the axis as it is seen turns by more than refraction makes it about an entry of a stay.
bool turns(const FineReading& fine, const std::vector<std::size_t>& stay, std::size_t at) {
  constexpr std::size_t reach = 4;
  double low = fine.frames[stay[at]].seen_rad;
  double high = low;
  for (std::size_t k = at - std::min(reach, at); k < std::min(stay.size(), at + reach + 1); ++k) {
    low = std::min(low, fine.frames[stay[k]].seen_rad);
    high = std::max(high, fine.frames[stay[k]].seen_rad);
  }
  return high - low > 0.026;  // 1.5 degrees
}

}  // namespace

double refraction_se(const ChamberReading& chamber, const FineReading& fine,
                     std::span<const double> time_s, std::size_t frame) {
  if (const auto bent = chamber.at(time_s[frame]))
    return std::hypot(unbent_rad, std::min(most_rad, by_bending * *bent));
  // A previous lens lies in a clear eye until the first instrument; a new one once the last has
  // gone.
  const bool settled = fine.frames[frame].phase == Phase::Previous
                           ? frame < fine.previous.settled_until
                           : frame >= fine.current.settled_from;
  return settled ? settled_rad : unsettled_rad;
}

double left_refraction_se(const ChamberReading& chamber, const FineReading& fine,
                          std::span<const double> time_s, std::size_t frame) {
  const double seen = refraction_se(chamber, fine, time_s, frame);
  return chamber.known() && fine.frames[frame].rests ? left_at_rest * seen : seen;
}

void take_off_refraction(const ChamberReading& chamber, std::span<const double> time_s,
                         FineReading& fine) {
  // Without a witness that anything bends, what wanders is left as it is seen.
  if (!chamber.known()) return;
  for (const Phase phase : {Phase::Previous, Phase::New}) {
    const std::vector<std::size_t> stay = frames_of(fine, phase);
    std::vector<timeline::BentReading> seen(stay.size());
    for (std::size_t k = 0; k < stay.size(); ++k) {
      const FineAxis& frame = fine.frames[stay[k]];
      // A reading that the axis as seen passes by holds nothing.
      if (frame.holds()) seen[k].end = frame.ends;
      // What is left in a clear eye is the same in all frames.
      const double se = refraction_se(chamber, fine, time_s, stay[k]);
      seen[k].bend_sd_rad = std::sqrt(std::max(0.0, se * se - unbent_rad * unbent_rad));
      if (k == 0) continue;
      seen[k].rests = frame.rests && !turns(fine, stay, k);
      seen[k].step = frame.step;
      // Where the axis as seen turns though the path rests, it is free.
      if (frame.rests) seen[k].step.axis_sd_rad = timeline::free_step_rad(frame.step.since_s);
      if (!seen[k].rests)
        seen[k].turned_rad = std::abs(frame.seen_rad - fine.frames[stay[k - 1]].seen_rad);
    }
    if (std::none_of(seen.begin(), seen.end(),
                     [](const auto& one) { return one.end[0].given || one.end[1].given; }))
      continue;
    const FineReport& report = phase == Phase::Previous ? fine.previous : fine.current;
    const std::vector<double> axis = timeline::unbend(seen, report.centre_sd);
    for (std::size_t k = 0; k < stay.size(); ++k) fine.frames[stay[k]].axis_rad = axis[k];
  }
}

}  // namespace rhumb::analyze
