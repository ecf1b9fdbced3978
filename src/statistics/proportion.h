// A share with its exact interval.
#pragma once

#include <cstddef>
#include <optional>

#include "statistics/estimate.h"

namespace rhumb::statistics {

// Clopper and Pearson, Biometrika 1934;26:404-413: the interval of a binomial share that covers the
// truth with at least the stated probability, through quantiles of the beta distribution.
// Nothing when `of` is 0 or `successes` is larger than `of`.
std::optional<Estimate> clopper_pearson(std::size_t successes, std::size_t of, double level = 0.95);

}  // namespace rhumb::statistics
