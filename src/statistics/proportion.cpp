#include "statistics/proportion.h"

#include "statistics/distributions.h"

namespace rhumb::statistics {

std::optional<Estimate> clopper_pearson(std::size_t successes, std::size_t of, double level) {
  if (of == 0 || successes > of) return std::nullopt;
  const auto x = static_cast<double>(successes);
  const auto n = static_cast<double>(of);
  const double tail = (1.0 - level) / 2.0;
  Estimate share{x / n, 0.0, 1.0};
  if (successes > 0) share.low = beta_quantile(tail, x, n - x + 1.0);
  if (successes < of) share.high = beta_quantile(1.0 - tail, x + 1.0, n - x);
  return share;
}

}  // namespace rhumb::statistics
