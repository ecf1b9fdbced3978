// Reference values: SciPy 1.10.1 (scipy.stats.t.ppf, chi2.ppf, f.ppf, beta.ppf, norm.ppf;
// scipy.special.betainc, gammainc), computed with the same arguments.
#include <catch2/catch.hpp>
#include <cmath>

#include "statistics/distributions.h"

using namespace rhumb::statistics;

namespace {

void near(double got, double wanted) {
  INFO("got " << got << ", wanted " << wanted);
  CHECK(std::abs(got - wanted) <= 1e-9 * std::abs(wanted) + 1e-14);
}

}  // namespace

TEST_CASE("quantiles agree with SciPy", "[statistics]") {
  near(t_quantile(0.975, 1), 12.706204736432095);
  near(t_quantile(0.975, 2.5), 3.5746548420118773);
  near(t_quantile(0.975, 16), 2.1199052992210112);
  near(t_quantile(0.6, 7), 0.2631668613520166);
  near(t_quantile(0.001, 4), -7.17318221491777);
  near(t_quantile(0.9999, 84), 3.889854264984613);
  near(chi_square_quantile(0.025, 1), 0.0009820691171752555);
  near(chi_square_quantile(0.975, 17), 30.19100912163982);
  near(chi_square_quantile(0.5, 1000), 999.333412403381);
  near(chi_square_quantile(0.95, 2), 5.991464547107979);
  near(f_quantile(0.975, 5, 15), 3.5764153492790607);
  near(f_quantile(0.025, 5, 4.78), 0.13904643140653397);
  near(f_quantile(0.01, 120, 3), 0.25322226647549034);
  near(f_quantile(0.5, 1, 1), 1.0);
  near(beta_quantile(0.025, 1, 20), 0.0012650894979498038);
  near(beta_quantile(0.975, 3, 8), 0.5560954623076415);
  near(beta_quantile(0.025, 95, 6), 0.8871650888945373);
  near(beta_quantile(0.5, 0.5, 0.5), 0.5);
  near(beta_quantile(0.975, 1990, 11), 0.9972513181853675);
  near(normal_quantile(0.975), 1.959963984540054);
  near(normal_quantile(1e-10), -6.361340902404056);
  near(normal_quantile(0.9), 1.2815515655446004);
}

TEST_CASE("F(.95; 2, 3) is the 9.552094 that a 95 % ellipse of five points needs", "[statistics]") {
  // T24 of the project's list of check values; F tables print 9.55.
  CHECK(f_quantile(0.95, 2, 3) == Approx(9.552094).epsilon(1e-6));
}

TEST_CASE("incomplete beta and gamma functions agree with SciPy", "[statistics]") {
  near(regularized_beta(0.3, 0.5, 0.5), 0.3690101195655454);
  near(regularized_beta(0.999, 200, 2), 0.9823785953743619);
  near(regularized_beta(0.01, 0.1, 30), 0.9076646686893753);
  near(regularized_beta(0.5, 1e4, 1e4), 0.5);
  near(regularized_gamma(0.5, 0.2), 0.47291074313446196);
  near(regularized_gamma(3, 10), 0.9972306042844884);
  near(regularized_gamma(100, 90), 0.15822098918643007);
  near(regularized_gamma(1e4, 1.01e4), 0.8413487504471796);
}

TEST_CASE("a quantile undoes its distribution function", "[statistics]") {
  for (const double p : {0.001, 0.025, 0.2, 0.5, 0.7, 0.975, 0.9999}) {
    for (const double v : {1.0, 3.7, 25.0, 400.0}) {
      near(t_cdf(t_quantile(p, v), v), p);
      near(chi_square_cdf(chi_square_quantile(p, v), v), p);
      near(f_cdf(f_quantile(p, v, 6.0), v, 6.0), p);
    }
    near(normal_cdf(normal_quantile(p)), p);
  }
}

TEST_CASE("arguments outside their range give NaN", "[statistics]") {
  CHECK(std::isnan(t_quantile(0.0, 3)));
  CHECK(std::isnan(t_quantile(0.5, 0)));
  CHECK(std::isnan(normal_quantile(1.0)));
  CHECK(std::isnan(beta_quantile(1.1, 1, 1)));
  CHECK(std::isnan(regularized_beta(0.5, -1, 1)));
  CHECK(std::isnan(f_quantile(0.5, 1, -1)));
  CHECK(std::isnan(chi_square_quantile(0.5, std::nan(""))));
}
