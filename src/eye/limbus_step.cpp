#include "eye/limbus_step.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace rhumb::eye {

namespace {

constexpr std::size_t planes_count = 3;
// Limbal radii: where the middle is looked for, and what of the ring is explained.
constexpr double innermost = 0.86, outermost = 1.14;
constexpr double explained_from = 0.86, explained_to = 1.16;
// Standard deviations of a step. From sclera to clear cornea it is one to two millimetres (surgical
// limbus, common practice, no source); what is sharper is a vessel or a lid.
constexpr std::array<double, 3> softness = {0.035, 0.055, 0.08};
// Neighbouring rows and the three planes share their texture.
constexpr double rows_per_independent = 4.0;
using Vector4 = Eigen::Vector4d;

std::vector<int> explained_rows(const RingShape& shape) {
  std::vector<int> rows;
  for (int k = 0; k < shape.rows; ++k) {
    const auto r = static_cast<double>(shape.radius[static_cast<std::size_t>(k)]);
    if (r >= explained_from && r <= explained_to) rows.push_back(k);
  }
  return rows;
}

// A level, a slope, a soft step and a change of slope behind it: shadows begin at the limbus.
std::vector<Vector4> basis_at(double place, double soft, const RingShape& shape,
                              const std::vector<int>& rows) {
  std::vector<Vector4> basis;
  for (const int row : rows) {
    const double d = static_cast<double>(shape.radius[static_cast<std::size_t>(row)]) - place;
    basis.emplace_back(1.0, d, 0.5 * std::erf(d / (soft * std::numbers::sqrt2)),
                       std::max(0.0, d - soft));
  }
  return basis;
}

// The solution of the normal equations with no step.
Vector4 without_step(const Eigen::LLT<Eigen::Matrix4d>& normal, const Vector4& right) {
  // Constrained least squares: the solution moves along the inverse's column of the step to 0.
  const Vector4 free = normal.solve(right);
  const Vector4 along = normal.solve(Vector4::Unit(2));
  return free - along * (free(2) / along(2));
}

// Soft steps of one softness at one place, fitted to directions.
class StepFit {
 public:
  StepFit(std::vector<Vector4> basis, const ExpectedSteps& expected, const PlaneWeights& weights)
      : basis_(std::move(basis)), expected_(expected), weights_(weights) {
    // The slope behind the step may differ by this a limbal radius, relative to the brightness.
    constexpr double bend_sd = 1.0;
    for (std::size_t plane = 0; plane < planes_count; ++plane) {
      const ExpectedStep& e = expected_[plane];
      const double share = e.noise * e.noise * rows_per_independent;
      const double of_step = share / (e.step_sd * e.step_sd);
      prior_[plane] = Vector4(1e-9, 1e-9, of_step, share / (bend_sd * bend_sd));
      pull_[plane] = Vector4(0.0, 0.0, of_step * e.step, 0.0);
    }
    whole_ = normal_of(nullptr);
  }

  // Keeps the fit as what is known of this place where it is the best of its softnesses.
  void improve(RingDirection& direction, std::size_t place) const {
    const auto n =
        static_cast<double>(std::count(direction.usable.begin(), direction.usable.end(), 1));
    const bool whole = n == static_cast<double>(basis_.size());
    const Normal normal = whole ? whole_ : normal_of(&direction.usable);
    double sum = 0.0;
    double planes = 0.0;
    std::array<double, planes_count> step{};
    std::array<double, planes_count> square{};
    for (std::size_t plane = 0; plane < planes_count; ++plane) {
      if (weights_[plane] <= 0.0) continue;
      planes += 1.0;
      const PlaneFit fit = fit_plane(direction, plane, normal[plane]);
      const double noise = expected_[plane].noise;
      sum += weights_[plane] * fit.left / (noise * noise);
      step[plane] = fit.step;
      square[plane] = fit.left / n;
    }
    // Student's form: a direction that no step explains says little anywhere.
    const double mean = sum / (n * planes);
    const double likelihood = -0.5 * n / rows_per_independent * planes * std::log1p(mean);
    if (likelihood <= direction.log_likelihood[place]) return;
    direction.log_likelihood[place] = likelihood;
    direction.step[place] = step;
    direction.square[place] = square;
  }

 private:
  using Normal = std::array<Eigen::LLT<Eigen::Matrix4d>, planes_count>;
  struct PlaneFit {
    double step = 0.0;
    double left = 0.0;  // squared residuals and what the step costs beside the expected one
  };

  // Of the rows that are usable; null: of all.
  Normal normal_of(const std::vector<char>* usable) const {
    Normal normal;
    Eigen::Matrix4d sum = Eigen::Matrix4d::Zero();
    for (std::size_t k = 0; k < basis_.size(); ++k)
      if (usable == nullptr || (*usable)[k] != 0) sum += basis_[k] * basis_[k].transpose();
    for (std::size_t plane = 0; plane < planes_count; ++plane)
      normal[plane].compute(sum + Eigen::Matrix4d(prior_[plane].asDiagonal()));
    return normal;
  }

  PlaneFit fit_plane(const RingDirection& direction, std::size_t plane,
                     const Eigen::LLT<Eigen::Matrix4d>& normal) const {
    const std::vector<double>& profile = direction.profile[plane];
    Vector4 g = pull_[plane];
    double squares = pull_[plane](2) * expected_[plane].step;
    for (std::size_t k = 0; k < basis_.size(); ++k) {
      if (direction.usable[k] == 0) continue;
      g += basis_[k] * profile[k];
      squares += profile[k] * profile[k];
    }
    Vector4 x = normal.solve(g);
    // Brighter outside, or no step at all.
    if (plane == 0 && x(2) < 0.0) x = without_step(normal, g);
    return {x(2), std::max(0.0, squares - x.dot(g))};
  }

  std::vector<Vector4> basis_;
  ExpectedSteps expected_;
  PlaneWeights weights_;
  std::array<Vector4, planes_count> prior_;  // of the normal equations: diagonal
  std::array<Vector4, planes_count> pull_;   // and right side
  Normal whole_;
};

}  // namespace

std::vector<double> step_places(const RingShape& shape) {
  const double row_step =
      static_cast<double>(shape.radius.back() - shape.radius.front()) / (shape.rows - 1);
  std::vector<double> places;
  for (double at = innermost; at <= outermost; at += 0.5 * row_step) places.push_back(at);
  return places;
}

// Profiles relative to the direction's own brightness: light and shadow scale all three planes.
std::vector<RingDirection> read_directions(const RingPlanes& planes, const RingShape& shape) {
  const std::vector<int> rows = explained_rows(shape);
  constexpr float least_seen = 0.2F;  // share of the frames
  constexpr double most_of = 0.7;     // of the rows must have been seen
  std::vector<RingDirection> out;
  const int width = shape.meridians / ring_directions;
  for (int d = 0; d < ring_directions; ++d) {
    RingDirection direction;
    direction.meridian_rad = 2.0 * std::numbers::pi * (d + 0.5 - 0.5 / width) / ring_directions;
    double level = 0.0;
    double rows_seen = 0.0;
    for (const int row : rows) {
      std::array<double, planes_count> sum{};
      double count = 0.0;
      for (int i = -width; i < 2 * width; ++i) {
        const int column = (d * width + i + shape.meridians) % shape.meridians;
        if (planes.seen.at<float>(row, column) < least_seen) continue;
        count += 1.0;
        for (std::size_t plane = 0; plane < planes_count; ++plane)
          sum[plane] += static_cast<double>(planes.value[plane].at<float>(row, column));
      }
      const bool seen = count == 3.0 * width;
      direction.usable.push_back(seen ? 1 : 0);
      for (std::size_t plane = 0; plane < planes_count; ++plane)
        direction.profile[plane].push_back(seen ? sum[plane] / count : 0.0);
      if (!seen) continue;
      level += sum[0] / count;
      rows_seen += 1.0;
    }
    if (rows_seen < most_of * static_cast<double>(rows.size())) continue;
    level = std::max(8.0, level / rows_seen);
    for (std::vector<double>& profile : direction.profile)
      for (double& value : profile) value /= level;
    out.push_back(std::move(direction));
  }
  return out;
}

void fit_steps(const RingShape& shape, const std::vector<double>& places,
               const ExpectedSteps& expected, const PlaneWeights& weights,
               std::vector<RingDirection>& all) {
  const std::vector<int> rows = explained_rows(shape);
  for (RingDirection& direction : all) {
    direction.log_likelihood.assign(places.size(), -1e30);
    direction.step.assign(places.size(), {});
    direction.square.assign(places.size(), {});
  }
  for (std::size_t p = 0; p < places.size(); ++p) {
    for (const double soft : softness) {
      const StepFit fit(basis_at(places[p], soft, shape, rows), expected, weights);
      for (RingDirection& direction : all) fit.improve(direction, p);
    }
  }
}

}  // namespace rhumb::eye
