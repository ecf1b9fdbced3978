// Comparing groups of unequal size: a linear mixed model with one random effect a group.
//
// y = X beta + u[group] + e, with u ~ N(0, tau^2) and e ~ N(0, sigma^2), by restricted maximum
// likelihood (Patterson and Thompson, Biometrika 1971;58:545-554); group effects by best linear
// unbiased prediction (Robinson, Stat Sci 1991;6:15-32). A group with few cases is drawn towards
// the mean of all.
//
// Intervals of groups: with few groups tau is ill known, and intervals at its best value come out
// too narrow (or of no width at all where that is 0). They are therefore averaged over tau / sigma,
// with a flat prior on it as Gelman, Bayesian Anal 2006;1:515-534 advises for tau.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "statistics/estimate.h"

namespace rhumb::statistics {

struct MixedData {
  std::vector<double> y;
  std::vector<std::size_t> group;  // one a value, 0 to groups - 1, every group used
  std::size_t groups = 0;
  std::vector<std::vector<double>>
      covariates;  // columns of X beside the constant, each as long as y
};

struct GroupEffect {
  std::size_t n = 0;
  double raw_mean = 0.0;
  double shrunken = 0.0;  // effect at the REML estimate, from the mean of all groups
  Estimate effect;        // averaged over tau, 95 % interval
  Estimate level;         // effect + mean of all at covariates' means
};

struct MixedModel {
  double tau = 0.0;       // SD between groups (REML)
  double sigma = 0.0;     // SD within
  double deviance = 0.0;  // -2 log restricted likelihood, as lme4 defines it
  std::vector<Estimate>
      coefficients;  // constant first, then covariates; Wald intervals with t on n - p
  Estimate mean;     // of all groups, at the covariates' means
  std::vector<GroupEffect> groups;
};

// Nothing where the model cannot be fitted: fewer than three groups, no more values than
// coefficients plus one, covariates that depend on each other, or no spread within groups.
std::optional<MixedModel> fit_mixed_model(const MixedData& data, double level = 0.95);

}  // namespace rhumb::statistics
