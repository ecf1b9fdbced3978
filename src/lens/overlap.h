// How alike what two ends of a lens show is, channel by channel.
#pragma once

#include <array>
#include <cstddef>

#include "lens/contrast.h"

namespace rhumb::lens {

// Sums over the points that two ends A and B have in common, in any unit that both share.
struct Overlap {
  std::array<double, channel_count> product{};
  std::array<double, channel_count> square_a{};
  std::array<double, channel_count> square_b{};

  void add(std::size_t channel, double a, double b, double weight = 1.0) {
    product[channel] += weight * a * b;
    square_a[channel] += weight * a * a;
    square_b[channel] += weight * b * b;
  }
  double all_a() const;
  double all_b() const;
};

// Normalised correlation, -1 to 1; 0 where one of the two is empty.
double correlation(const Overlap& part);

// The same for two ends of one lens, whose marks take colour away at both but may be lighter than
// the glow at one and darker at the other: luma's sign is free as far as colour bears it out.
double correlation_of_ends(const Overlap& part);

}  // namespace rhumb::lens
