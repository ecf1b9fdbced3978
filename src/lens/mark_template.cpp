#include "lens/mark_template.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <vector>

namespace rhumb::lens {
namespace {

// Points that fewer frames saw, against the best-seen one, are left out: the mean of a few frames
// is as wide as an outlier, and one outlier would outweigh the mark.
constexpr double least_seen = 0.3;

}  // namespace

TemplateBuilder::TemplateBuilder(const RadialGrid& grid, const StripGeometry& strip)
    : grid_(grid), strip_(strip) {
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    sum_[channel] = cv::Mat1f::zeros(grid.count, strip.columns());
    squares_[channel] = cv::Mat1f::zeros(grid.count, strip.columns());
  }
  weight_ = cv::Mat1f::zeros(grid.count, strip.columns());
}

void TemplateBuilder::add(const MarkStrip& strip, float weight) {
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    sum_[channel] += weight * strip.value[channel];
    squares_[channel] += weight * strip.value[channel].mul(strip.value[channel]);
  }
  weight_ += weight * strip.usable;
}

MarkTemplate TemplateBuilder::build(std::span<const float> distances) const {
  MarkTemplate mark;
  mark.seen = weight_.clone();
  cv::Mat1f divisor;
  cv::max(weight_, 1e-6F, divisor);
  double heaviest = 0.0;
  cv::minMaxLoc(weight_, nullptr, &heaviest);
  std::vector<double> row_power(static_cast<std::size_t>(grid_.count), 0.0);
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    mark.value[channel] = sum_[channel] / divisor;
    cv::Mat1f variance;
    cv::divide(squares_[channel], divisor, variance);
    variance -= mark.value[channel].mul(mark.value[channel]);
    double total = 0.0;
    double points = 0.0;
    for (int row = 0; row < grid_.count; ++row) {
      for (int col = 0; col < strip_.columns(); ++col) {
        const double share = weight_(row, col);
        total += share * std::max(0.0F, variance(row, col));
        points += share;
      }
    }
    mark.noise[channel] =
        static_cast<float>(std::max(1e-4, std::sqrt(total / std::max(points, 1e-9))));
    for (int row = 0; row < grid_.count; ++row) {
      for (int col = 0; col < strip_.columns(); ++col) {
        if (weight_(row, col) < least_seen * heaviest) mark.value[channel](row, col) = 0.0F;
        const double z = mark.value[channel](row, col) / mark.noise[channel];
        // The outer quarter of the strip is surroundings.
        if (std::abs(strip_.angle_at(col)) < 0.75 * strip_.reach_rad) {
          row_power[static_cast<std::size_t>(row)] += z * z;
        }
      }
    }
  }
  const auto share = [&](int row) {
    return distances.empty() ? 1.0F : distances[static_cast<std::size_t>(row)];
  };
  for (int row = 0; row < grid_.count; ++row)
    row_power[static_cast<std::size_t>(row)] *= static_cast<double>(share(row));
  const double strongest = *std::max_element(row_power.begin(), row_power.end());
  double weighted = 0.0;
  double weights = 0.0;
  for (int row = 0; row < grid_.count; ++row) {
    const double power = row_power[static_cast<std::size_t>(row)];
    const auto say = share(row) * static_cast<float>(std::clamp(
                                      power / (0.15 * strongest + 1e-12) - 0.3, 0.0, 1.0));
    for (std::size_t channel = 0; channel < channel_count; ++channel) {
      mark.value[channel].row(row) *= say;
    }
    weighted += say * power * grid_.at(row);
    weights += say * power;
  }
  if (weights > 0.0) mark.mean_distance = weighted / weights;
  return mark;
}

}  // namespace rhumb::lens
