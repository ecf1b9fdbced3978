#include "statistics/distributions.h"

#include <cmath>
#include <limits>
#include <numbers>

namespace rhumb::statistics {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double tiny = 1e-300;  // keeps a vanishing denominator of a continued fraction alive
constexpr int most_terms = 100000;

bool is_probability(double p) { return p >= 0.0 && p <= 1.0; }

double away_from_zero(double v) { return std::abs(v) < tiny ? tiny : v; }

// The modified Lentz evaluation of 1 / (1 + d1 / (1 + d2 / (1 + ...))).
template <typename Term>
double continued_fraction(Term term) {
  double c = 1.0;
  double d = 0.0;
  double value = 1.0;
  for (int m = 1; m < most_terms; ++m) {
    const double coefficient = term(m);
    d = 1.0 / away_from_zero(1.0 + coefficient * d);
    c = away_from_zero(1.0 + coefficient / c);
    value *= c * d;
    if (std::abs(c * d - 1.0) < 1e-16) break;
  }
  return 1.0 / value;
}

double beta_by_fraction(double x, double a, double b) {
  const auto term = [&](int n) {
    const int whole = n / 2;
    const double m = whole;
    if (n % 2 == 0) return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
    return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
  };
  const double log_front =
      std::lgamma(a + b) - std::lgamma(a) - std::lgamma(b) + a * std::log(x) + b * std::log1p(-x);
  return std::exp(log_front) / a * continued_fraction(term);
}

double gamma_by_series(double a, double x) {
  double term = 1.0 / a;
  double sum = term;
  for (int n = 1; n < most_terms && term > sum * 1e-17; ++n) {
    term *= x / (a + n);
    sum += term;
  }
  return sum * std::exp(a * std::log(x) - x - std::lgamma(a));
}

// Q(a, x) by the even part of DLMF 8.9.2.
double gamma_tail_by_fraction(double a, double x) {
  double b = x + 1.0 - a;
  double c = 1.0 / tiny;
  double d = 1.0 / away_from_zero(b);
  double value = d;
  for (int n = 1; n < most_terms; ++n) {
    const double numerator = -n * (n - a);
    b += 2.0;
    d = 1.0 / away_from_zero(numerator * d + b);
    c = away_from_zero(b + numerator / c);
    value *= c * d;
    if (std::abs(c * d - 1.0) < 1e-16) break;
  }
  return value * std::exp(a * std::log(x) - x - std::lgamma(a));
}

// The x at which an increasing function passes p, to the last bit.
template <typename Function>
double invert(Function cdf, double p, double low, double high) {
  for (;;) {
    const double middle = low + (high - low) / 2.0;
    if (middle <= low || middle >= high) return middle;
    (cdf(middle) < p ? low : high) = middle;
  }
}

}  // namespace

double regularized_beta(double x, double a, double b) {
  if (!(a > 0.0) || !(b > 0.0) || !is_probability(x)) return nan;
  if (x == 0.0 || x == 1.0) return x;
  if (x > (a + 1.0) / (a + b + 2.0)) return 1.0 - beta_by_fraction(1.0 - x, b, a);
  return beta_by_fraction(x, a, b);
}

double regularized_gamma(double a, double x) {
  if (!(a > 0.0) || !(x >= 0.0)) return nan;
  if (x == 0.0) return 0.0;
  return x < a + 1.0 ? gamma_by_series(a, x) : 1.0 - gamma_tail_by_fraction(a, x);
}

double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

double t_cdf(double t, double degrees_of_freedom) {
  if (!(degrees_of_freedom > 0.0) || std::isnan(t)) return nan;
  if (std::isinf(t)) return t > 0.0 ? 1.0 : 0.0;
  const double v = degrees_of_freedom;
  const double tail = 0.5 * regularized_beta(v / (v + t * t), v / 2.0, 0.5);
  return t > 0.0 ? 1.0 - tail : tail;
}

double chi_square_cdf(double x, double degrees_of_freedom) {
  return regularized_gamma(degrees_of_freedom / 2.0, x / 2.0);
}

double f_cdf(double f, double df_numerator, double df_denominator) {
  if (!(f >= 0.0) || !(df_numerator > 0.0) || !(df_denominator > 0.0)) return nan;
  const double x = df_numerator * f / (df_numerator * f + df_denominator);
  return regularized_beta(x, df_numerator / 2.0, df_denominator / 2.0);
}

double normal_quantile(double p) {
  if (!(p > 0.0 && p < 1.0)) return nan;
  // The upper half by symmetry: 1 - p loses no digits for p above a half.
  if (p > 0.5) return -normal_quantile(1.0 - p);
  return invert(normal_cdf, p, -40.0, 0.0);
}

double t_quantile(double p, double degrees_of_freedom) {
  if (!(p > 0.0 && p < 1.0) || !(degrees_of_freedom > 0.0)) return nan;
  if (p == 0.5) return 0.0;
  const double tail = p < 0.5 ? p : 1.0 - p;
  const double v = degrees_of_freedom;
  // With y = t^2 / (v + t^2), which keeps its digits where t is near 0 as well as far out.
  const double y = 1.0 - 2.0 * tail < 0.5 ? beta_quantile(1.0 - 2.0 * tail, 0.5, v / 2.0)
                                          : 1.0 - beta_quantile(2.0 * tail, v / 2.0, 0.5);
  const double rest = 1.0 - 2.0 * tail < 0.5 ? 1.0 - y : beta_quantile(2.0 * tail, v / 2.0, 0.5);
  const double t = std::sqrt(v * y / rest);
  return p < 0.5 ? -t : t;
}

double chi_square_quantile(double p, double degrees_of_freedom) {
  if (!(p > 0.0 && p < 1.0) || !(degrees_of_freedom > 0.0)) return nan;
  double high = degrees_of_freedom + 1.0;
  while (chi_square_cdf(high, degrees_of_freedom) < p) high *= 2.0;
  return invert([&](double x) { return chi_square_cdf(x, degrees_of_freedom); }, p, 0.0, high);
}

double f_quantile(double p, double df_numerator, double df_denominator) {
  if (!(p > 0.0 && p < 1.0) || !(df_numerator > 0.0) || !(df_denominator > 0.0)) return nan;
  const double a = df_numerator / 2.0;
  const double b = df_denominator / 2.0;
  if (p < 0.5) {
    const double x = beta_quantile(p, a, b);
    return b * x / (a * (1.0 - x));
  }
  const double y = beta_quantile(1.0 - p, b, a);
  return b * (1.0 - y) / (a * y);
}

double beta_quantile(double p, double a, double b) {
  if (!is_probability(p) || !(a > 0.0) || !(b > 0.0)) return nan;
  if (p == 0.0 || p == 1.0) return p;
  return invert([&](double x) { return regularized_beta(x, a, b); }, p, 0.0, 1.0);
}

}  // namespace rhumb::statistics
