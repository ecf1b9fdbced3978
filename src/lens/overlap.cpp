#include "lens/overlap.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace rhumb::lens {

double Overlap::all_a() const { return std::accumulate(square_a.begin(), square_a.end(), 0.0); }

double Overlap::all_b() const { return std::accumulate(square_b.begin(), square_b.end(), 0.0); }

double correlation(const Overlap& part) {
  const double norm = std::sqrt(part.all_a() * part.all_b());
  return norm > 0.0 ? std::accumulate(part.product.begin(), part.product.end(), 0.0) / norm : 0.0;
}

// A grey mark is lighter than a dull part of the reflex, darker than a bright one and between them
// as bright as it: its luma may differ from end to end in sign and size, while it always takes
// colour away.
double correlation_of_ends(const Overlap& part) {
  double colour = 0.0;
  double norm = 0.0;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    if (channel != luma_channel) colour += part.product[channel];
    norm += std::sqrt(part.square_a[channel] * part.square_b[channel]);
  }
  // Light at one end and dark at the other counts only as far as the colour bears it out.
  const double luma = part.product[luma_channel];
  const double product = colour + (luma > 0.0 ? luma : std::min(-luma, std::max(0.0, colour)));
  // What only one end shows, in a channel that the other lacks, is half of it at most.
  norm = std::max(norm, 0.5 * std::sqrt(part.all_a() * part.all_b()));
  return norm > 0.0 ? product / norm : 0.0;
}

}  // namespace rhumb::lens
