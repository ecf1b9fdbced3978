// References: lme4 1.1-31 in R 4.2.2 on its own data sets Dyestuff and Dyestuff2 (the dyestuff
// yields are those of Davies 1947, Box and Tiao 1973) and on an unbalanced set with a covariate,
//   lmer(y ~ I(x - mean(x)) + (1 | g))
// and, for the intervals averaged over tau, a grid of 8001 ratios in NumPy and SciPy 1.10.1 that
// builds every covariance matrix whole and solves Henderson's equations.
#include <catch2/catch.hpp>
#include <cstddef>
#include <vector>

#include "statistics/mixed.h"

using namespace rhumb::statistics;

namespace {

MixedData balanced(const std::vector<double>& y) {
  MixedData data{y, {}, 6, {}};
  for (std::size_t i = 0; i < y.size(); ++i) data.group.push_back(i / 5);
  return data;
}

MixedData unbalanced() {
  MixedData data;
  data.y = {2.83, 2.24, 2.1,  0.97, 1.93, 2.93, 1.82, 2.17, 1.16, 1.04, 0.98, 1.89, 2.62,
            2.03, 2.03, 1.65, 2.3,  1.89, 2.59, 1.86, 3.11, 2.64, 2.89, 1.58, 2.92, 1.63,
            1.57, 2.35, 1.88, 1.06, 1.01, 1.19, 0.98, 0.91, 0.27, 1.18, 1.24, 2.01, 1.87};
  data.covariates = {{0.99, 0.4,  0.12, 0.07, 0.24, 0.79, 0.34, 0.97, 0.17, 0.46,
                      0.17, 0.23, 0.77, 0.1,  0.45, 0.08, 0.56, 0.01, 0.99, 0.32,
                      0.64, 0.3,  1,    0.91, 0.99, 0.07, 0.63, 0.49, 0.97, 0.36,
                      0.68, 0.26, 0.19, 0.19, 0.38, 0.85, 0.5,  0.79, 0.84}};
  data.groups = 5;
  const std::size_t sizes[] = {3, 8, 15, 2, 11};
  for (std::size_t g = 0; g < 5; ++g) data.group.insert(data.group.end(), sizes[g], g);
  return data;
}

}  // namespace

TEST_CASE("the dyestuff yields", "[statistics]") {
  const auto model = fit_mixed_model(balanced(
      {1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560,
       1445, 1440, 1595, 1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445}));
  REQUIRE(model);
  CHECK(model->tau == Approx(42.00059531).epsilon(1e-5));
  CHECK(model->sigma == Approx(49.51009997).epsilon(1e-5));
  CHECK(model->deviance == Approx(319.654276842).epsilon(1e-9));
  CHECK(model->coefficients[0].value == Approx(1527.5));
  const double wanted[] = {-17.606851, 0.391263, 28.562226, -23.084538, 56.733188, -44.995287};
  for (std::size_t g = 0; g < 6; ++g) {
    CHECK(model->groups[g].shrunken == Approx(wanted[g]).margin(1e-3));
    CHECK(model->groups[g].n == 5);
  }
}

TEST_CASE("no spread between groups: lme4 gives tau 0, intervals keep a width", "[statistics]") {
  const auto model = fit_mixed_model(
      balanced({7.298, 3.846,  2.434,  9.566, 7.990, 5.220, 6.556, 0.608, 11.788, -0.892,
                0.110, 10.386, 13.434, 5.510, 8.166, 2.212, 4.852, 7.092, 9.288,  4.980,
                0.282, 9.014,  4.458,  9.446, 7.198, 1.722, 4.782, 8.106, 0.758,  3.758}));
  REQUIRE(model);
  CHECK(model->tau == Approx(0.0).margin(1e-6));
  CHECK(model->sigma == Approx(3.715684274).epsilon(1e-8));
  CHECK(model->deviance == Approx(161.828277812).epsilon(1e-9));
  for (const auto& group : model->groups) {
    CHECK(group.shrunken == Approx(0.0).margin(1e-6));
    CHECK(group.effect.low < 0.0);
    CHECK(group.effect.high > 0.0);
    CHECK(group.effect.high - group.effect.low > 1.0);
  }
}

TEST_CASE("unequal groups and a covariate agree with lme4", "[statistics]") {
  const auto model = fit_mixed_model(unbalanced());
  REQUIRE(model);
  CHECK(model->tau == Approx(0.4565069239).epsilon(1e-4));
  CHECK(model->sigma == Approx(0.4257039446).epsilon(1e-4));
  CHECK(model->deviance == Approx(54.9934747581).epsilon(1e-9));
  CHECK(model->coefficients[0].value == Approx(1.86758790068).epsilon(1e-5));
  CHECK(model->coefficients[1].value == Approx(1.06731409457).epsilon(1e-5));
  const double wanted[] = {0.3973741597, -0.1294173494, 0.3533264611, 0.0153880824, -0.6366713537};
  for (std::size_t g = 0; g < 5; ++g) {
    CHECK(model->groups[g].shrunken == Approx(wanted[g]).margin(2e-5));
  }
}

TEST_CASE("effects and levels averaged over tau agree with whole matrices in NumPy",
          "[statistics]") {
  const auto model = fit_mixed_model(unbalanced());
  REQUIRE(model);
  const double effect[5][3] = {{0.42043, -0.39369, 1.32297},
                               {-0.13616, -0.96681, 0.66607},
                               {0.35327, -0.44599, 1.16088},
                               {0.01280, -0.87499, 0.89475},
                               {-0.65034, -1.49457, 0.12452}};
  const double level[5][3] = {{2.29164, 1.82132, 2.76673},
                              {1.73504, 1.44065, 2.02964},
                              {2.22448, 2.00422, 2.44216},
                              {1.88401, 1.34427, 2.42576},
                              {1.22087, 0.96238, 1.48660}};
  // The coarser grid here costs a few thousandths.
  for (std::size_t g = 0; g < 5; ++g) {
    CHECK(model->groups[g].effect.value == Approx(effect[g][0]).margin(0.004));
    CHECK(model->groups[g].effect.low == Approx(effect[g][1]).margin(0.008));
    CHECK(model->groups[g].effect.high == Approx(effect[g][2]).margin(0.008));
    CHECK(model->groups[g].level.value == Approx(level[g][0]).margin(0.004));
    CHECK(model->groups[g].level.low == Approx(level[g][1]).margin(0.004));
    CHECK(model->groups[g].level.high == Approx(level[g][2]).margin(0.004));
  }
  CHECK(model->mean.value == Approx(1.87121).margin(0.004));
  CHECK(model->mean.low == Approx(1.08963).margin(0.008));
  CHECK(model->mean.high == Approx(2.66859).margin(0.008));
}

TEST_CASE("a model that cannot be fitted is not given", "[statistics]") {
  MixedData two{{1, 2, 3, 4}, {0, 0, 1, 1}, 2, {}};
  CHECK_FALSE(fit_mixed_model(two));
  MixedData twice = unbalanced();
  twice.covariates.push_back(twice.covariates[0]);
  CHECK_FALSE(fit_mixed_model(twice));
  MixedData constant = unbalanced();
  constant.covariates = {std::vector<double>(constant.y.size(), 3.0)};
  CHECK_FALSE(fit_mixed_model(constant));
  CHECK_FALSE(fit_mixed_model(balanced(std::vector<double>(30, 5.0))));
}
