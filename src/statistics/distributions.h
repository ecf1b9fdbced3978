// Distribution functions and quantiles that exact intervals need.
//
// Method: continued fractions and series of the NIST Digital Library of Mathematical Functions
// (8.17.22 for the incomplete beta function, 8.7.1 and 8.9.2 for the incomplete gamma functions);
// quantiles by bisection to the last bit. An argument outside its range gives NaN, never a guess.
#pragma once

namespace rhumb::statistics {

// I_x(a, b): x in [0, 1], a and b > 0.
double regularized_beta(double x, double a, double b);
// P(a, x), the lower tail: a > 0, x >= 0.
double regularized_gamma(double a, double x);

double normal_cdf(double z);
double t_cdf(double t, double degrees_of_freedom);
double chi_square_cdf(double x, double degrees_of_freedom);
double f_cdf(double f, double df_numerator, double df_denominator);

// p strictly between 0 and 1 (beta_quantile also takes 0 and 1). Degrees of freedom need not be
// whole.
double normal_quantile(double p);
double t_quantile(double p, double degrees_of_freedom);
double chi_square_quantile(double p, double degrees_of_freedom);
double f_quantile(double p, double df_numerator, double df_denominator);
double beta_quantile(double p, double a, double b);

}  // namespace rhumb::statistics
