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

void take_off_refraction(const ChamberReading& chamber, std::span<const double> time_s,
                         FineReading& fine) {
  for (const Phase phase : {Phase::Previous, Phase::New}) {
    std::vector<std::size_t> which;
    std::vector<timeline::BentReading> stay;
    for (std::size_t k = 0; k < fine.frames.size(); ++k) {
      const FineAxis& frame = fine.frames[k];
      if (frame.phase != phase) continue;
      timeline::BentReading one;
      one.seen = frame.own;
      // A reading that the axis as seen passes by holds nothing.
      one.seen.given = frame.holds();
      one.rests = frame.rests;
      // What is left in a clear eye is the same in all frames.
      const double se = refraction_se(chamber, fine, time_s, k);
      one.bend_sd_rad = std::sqrt(std::max(0.0, se * se - unbent_rad * unbent_rad));
      if (!which.empty()) {
        one.since_s = std::max(1e-3, time_s[k] - time_s[which.back()]);
        one.turned_rad =
            frame.rests ? 0.0 : std::abs(frame.axis_rad - fine.frames[which.back()].axis_rad);
      }
      which.push_back(k);
      stay.push_back(one);
    }
    if (std::none_of(stay.begin(), stay.end(), [](const auto& one) { return one.seen.given; }))
      continue;
    const std::vector<double> axis = timeline::unbend(stay);
    for (std::size_t k = 0; k < which.size(); ++k) fine.frames[which[k]].axis_rad = axis[k];
  }
}

}  // namespace rhumb::analyze
