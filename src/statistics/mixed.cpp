#include "statistics/mixed.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "statistics/distributions.h"

namespace rhumb::statistics {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

// What the likelihood needs of the data: sums over all and over each group, covariates centred.
struct Sums {
  MatrixXd xx;       // X'X
  VectorXd xy;       // X'y
  double yy = 0.0;   // y'y
  MatrixXd x_group;  // p x groups: sum of X over the group
  VectorXd y_group;  // sum of y over the group
  VectorXd n_group;
  double n = 0.0;
};

// Covariates are taken about their means, so that the constant is the level at those means.
Sums sums_of(const MixedData& data) {
  const auto n = static_cast<Eigen::Index>(data.y.size());
  const auto p = static_cast<Eigen::Index>(data.covariates.size()) + 1;
  MatrixXd x = MatrixXd::Ones(n, p);
  for (Eigen::Index j = 1; j < p; ++j) {
    x.col(j) =
        Eigen::Map<const VectorXd>(data.covariates[static_cast<std::size_t>(j - 1)].data(), n);
    x.col(j).array() -= x.col(j).mean();
  }
  const Eigen::Map<const VectorXd> y(data.y.data(), n);
  const auto groups = static_cast<Eigen::Index>(data.groups);
  Sums s{x.transpose() * x,         x.transpose() * y,      y.squaredNorm(),
         MatrixXd::Zero(p, groups), VectorXd::Zero(groups), VectorXd::Zero(groups),
         static_cast<double>(n)};
  for (Eigen::Index i = 0; i < n; ++i) {
    const auto g = static_cast<Eigen::Index>(data.group[static_cast<std::size_t>(i)]);
    s.x_group.col(g) += x.row(i).transpose();
    s.y_group(g) += y(i);
    s.n_group(g) += 1.0;
  }
  return s;
}

// The model at one ratio r = tau / sigma; V / sigma^2 = I + r^2 Z Z'.
struct Fit {
  double deviance = 0.0;
  double sigma2 = 0.0;
  VectorXd beta;
  MatrixXd inverse;  // (X' V^-1 X)^-1 sigma^2
  VectorXd shrink;   // r^2 n_g / (1 + r^2 n_g)
};

std::optional<Fit> fit_at(const Sums& s, double ratio) {
  const double lambda = ratio * ratio;
  const VectorXd scale = (lambda / (1.0 + lambda * s.n_group.array())).matrix();
  const MatrixXd a = s.xx - s.x_group * scale.asDiagonal() * s.x_group.transpose();
  const VectorXd b = s.xy - s.x_group * scale.asDiagonal() * s.y_group;
  const double c = s.yy - s.y_group.dot(scale.asDiagonal() * s.y_group);
  const Eigen::LDLT<MatrixXd> solver(a);
  const VectorXd pivots = solver.vectorD();
  if (solver.info() != Eigen::Success || !(pivots.minCoeff() > 1e-10 * pivots.maxCoeff())) {
    return std::nullopt;
  }
  Fit fit;
  fit.beta = solver.solve(b);
  const double freedom = s.n - static_cast<double>(a.rows());
  const double rss = c - fit.beta.dot(b);
  if (!(rss > 1e-14 * s.yy)) return std::nullopt;
  fit.sigma2 = rss / freedom;
  fit.inverse = solver.solve(MatrixXd::Identity(a.rows(), a.cols()));
  fit.shrink = scale.cwiseProduct(s.n_group);
  fit.deviance = freedom * (1.0 + std::log(2.0 * std::numbers::pi * fit.sigma2)) +
                 (1.0 + lambda * s.n_group.array()).log().sum() + pivots.array().log().sum();
  return fit;
}

double effect_of(const Sums& s, const Fit& fit, Eigen::Index g) {
  const double raw = (s.y_group(g) - s.x_group.col(g).dot(fit.beta)) / s.n_group(g);
  return fit.shrink(g) * raw;
}

// Variance of the error of u_g (with_mean false) or of the constant plus u_g (true).
double variance_of(const Sums& s, const Fit& fit, double ratio, Eigen::Index g, bool with_mean) {
  VectorXd d = -fit.shrink(g) / s.n_group(g) * s.x_group.col(g);
  if (with_mean) d(0) += 1.0;
  const double own = ratio * ratio * (1.0 - fit.shrink(g));
  return fit.sigma2 * (own + d.dot(fit.inverse * d));
}

// Restricted likelihood's best ratio: a scan, then golden section about the best place of it.
double best_ratio(const Sums& s, const std::vector<double>& scan) {
  const auto deviance = [&](double r) {
    const auto fit = fit_at(s, r);
    return fit ? fit->deviance : HUGE_VAL;
  };
  std::size_t best = 0;
  double least = deviance(scan[0]);
  for (std::size_t i = 1; i < scan.size(); ++i) {
    const double here = deviance(scan[i]);
    if (here < least) {
      least = here;
      best = i;
    }
  }
  double low = scan[best > 0 ? best - 1 : 0];
  double high = scan[std::min(best + 1, scan.size() - 1)];
  const double golden = 1.0 / std::numbers::phi;
  while (high - low > 1e-10 * (1.0 + high)) {
    const double left = high - golden * (high - low);
    const double right = low + golden * (high - low);
    if (deviance(left) <= deviance(right)) {
      high = right;
    } else {
      low = left;
    }
  }
  const double middle = (low + high) / 2.0;
  return deviance(0.0) <= deviance(middle) ? 0.0 : middle;
}

// One part of the mixture over tau: Student's t about `centre`.
struct Part {
  double weight, centre, sd;
};

Estimate interval_of(const std::vector<Part>& parts, double freedom, double level) {
  double value = 0.0;
  double reach = 0.0;
  for (const Part& p : parts) value += p.weight * p.centre;
  for (const Part& p : parts) reach = std::max(reach, std::abs(p.centre - value) + p.sd);
  const auto quantile = [&](double wanted) {
    double low = value - 1e4 * reach;
    double high = value + 1e4 * reach;
    for (int i = 0; i < 80; ++i) {
      const double middle = (low + high) / 2.0;
      double below = 0.0;
      for (const Part& p : parts) {
        below += p.weight * (p.sd > 0.0 ? t_cdf((middle - p.centre) / p.sd, freedom)
                                        : (middle >= p.centre ? 1.0 : 0.0));
      }
      (below < wanted ? low : high) = middle;
    }
    return (low + high) / 2.0;
  };
  const double tail = (1.0 - level) / 2.0;
  return {value, quantile(tail), quantile(1.0 - tail)};
}

// The posterior over tau / sigma on a grid, with the fits that belong to it; negligible parts
// dropped.
struct Posterior {
  std::vector<double> ratio, weight;
  std::vector<Fit> fit;
};

Posterior posterior_over(const Sums& s, const std::vector<double>& grid, double least) {
  Posterior post;
  double sum = 0.0;
  for (std::size_t i = 0; i < grid.size(); ++i) {
    auto fit = fit_at(s, grid[i]);
    if (!fit) continue;
    const double before = i > 0 ? grid[i - 1] : grid[i];
    const double after = i + 1 < grid.size() ? grid[i + 1] : grid[i];
    // sigma integrated out with the prior 1 / sigma^2 leaves the profiled restricted likelihood.
    const double weight = std::exp(-0.5 * (fit->deviance - least)) * (after - before) / 2.0;
    if (weight < 1e-9) continue;
    post.ratio.push_back(grid[i]);
    post.weight.push_back(weight);
    post.fit.push_back(std::move(*fit));
    sum += weight;
  }
  for (double& w : post.weight) w /= sum;
  return post;
}

// Dense where tau is small against sigma, reaching far beyond it: 0 to 20.
std::vector<double> ratio_grid() {
  std::vector<double> grid;
  for (int i = 0; i <= 240; ++i) {
    const double t = i / 240.0;
    grid.push_back(20.0 * t * t * t);
  }
  return grid;
}

bool usable(const MixedData& data) {
  const std::size_t p = data.covariates.size() + 1;
  if (data.groups < 3 || data.group.size() != data.y.size() || data.y.size() <= p + 1) return false;
  return std::all_of(data.covariates.begin(), data.covariates.end(),
                     [&](const auto& column) { return column.size() == data.y.size(); });
}

void coefficients_of(const Sums& s, const Fit& fit, double level, MixedModel& into) {
  const double t = t_quantile(0.5 + level / 2.0, s.n - static_cast<double>(fit.beta.size()));
  for (Eigen::Index j = 0; j < fit.beta.size(); ++j) {
    const double half = t * std::sqrt(fit.sigma2 * fit.inverse(j, j));
    into.coefficients.push_back({fit.beta(j), fit.beta(j) - half, fit.beta(j) + half});
  }
}

}  // namespace

std::optional<MixedModel> fit_mixed_model(const MixedData& data, double level) {
  if (!usable(data)) return std::nullopt;
  const Sums s = sums_of(data);
  const std::vector<double> grid = ratio_grid();
  const double ratio = best_ratio(s, grid);
  const auto best = fit_at(s, ratio);
  if (!best) return std::nullopt;

  MixedModel model;
  model.sigma = std::sqrt(best->sigma2);
  model.tau = ratio * model.sigma;
  model.deviance = best->deviance;
  coefficients_of(s, *best, level, model);

  const Posterior post = posterior_over(s, grid, best->deviance);
  const double freedom = s.n - static_cast<double>(best->beta.size());
  std::vector<Part> parts(post.ratio.size());
  const auto mix = [&](auto centre, auto variance) {
    for (std::size_t i = 0; i < parts.size(); ++i) {
      parts[i] = {post.weight[i], centre(i), std::sqrt(std::max(0.0, variance(i)))};
    }
    return interval_of(parts, freedom, level);
  };
  model.mean = mix([&](std::size_t i) { return post.fit[i].beta(0); },
                   [&](std::size_t i) { return post.fit[i].sigma2 * post.fit[i].inverse(0, 0); });
  for (Eigen::Index g = 0; g < s.n_group.size(); ++g) {
    const auto variance = [&](std::size_t i, bool with_mean) {
      return variance_of(s, post.fit[i], post.ratio[i], g, with_mean);
    };
    GroupEffect group;
    group.n = static_cast<std::size_t>(s.n_group(g));
    group.raw_mean = s.y_group(g) / s.n_group(g);
    group.shrunken = effect_of(s, *best, g);
    group.effect = mix([&](std::size_t i) { return effect_of(s, post.fit[i], g); },
                       [&](std::size_t i) { return variance(i, false); });
    group.level =
        mix([&](std::size_t i) { return post.fit[i].beta(0) + effect_of(s, post.fit[i], g); },
            [&](std::size_t i) { return variance(i, true); });
    model.groups.push_back(group);
  }
  return model;
}

}  // namespace rhumb::statistics
