#include "eye/average.h"

#include <algorithm>
#include <cmath>

namespace rhumb::eye {

namespace {

// As many frames' worth of the ring's overall scatter is mixed into each point's own.
constexpr double scatter_prior_frames = 6.0;

// Standard deviation of the parallax (either component) from which depth can well be told: 1.5 deg.
constexpr double least_spread = 0.026;
// Limbal radii over which neighbouring rows share their depth.
constexpr double depth_bell = 0.03;

struct Spread {
  float mean = 0.0F;
  float sd = 0.0F;
};

// Mean of the values within 2.5 robust deviations of the median, and that deviation. Reorders the
// values.
Spread robust_mean(std::vector<float>& values, std::vector<float>& buffer) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  const float median = *middle;
  buffer.clear();
  for (const float v : values) buffer.push_back(std::abs(v - median));
  const auto half = buffer.begin() + static_cast<std::ptrdiff_t>(buffer.size() / 2);
  std::nth_element(buffer.begin(), half, buffer.end());
  const float sd = 1.4826F * *half;
  float sum = 0.0F, count = 0.0F;
  for (const float v : values) {
    const float keep = std::abs(v - median) <= 2.5F * sd ? 1.0F : 0.0F;
    sum += keep * v;
    count += keep;
  }
  return {count > 0.0F ? sum / count : median, sd};
}

void average_level(std::span<const std::vector<float>> rings,
                   std::span<const std::vector<float>> masks, TemplateLevel& level) {
  const std::size_t size = level.shape.size();
  const std::size_t frames = rings.size();
  level.value.assign(size, 0.0F);
  level.inv_var.assign(size, 0.0F);
  std::vector<float> sd(size, 0.0F), counts(size, 0.0F);
  const std::size_t least = frames < 4 ? 1 : std::max<std::size_t>(3, frames / 5);
  cv::parallel_for_(cv::Range(0, level.shape.rows), [&](const cv::Range& rows) {
    std::vector<float> values, buffer;
    for (std::size_t j = static_cast<std::size_t>(rows.start) * level.shape.meridians;
         j < static_cast<std::size_t>(rows.end) * level.shape.meridians; ++j) {
      values.clear();
      for (std::size_t f = 0; f < frames; ++f) {
        if (masks[f][j] > 0.0F) values.push_back(rings[f][j]);
      }
      if (values.size() < least) continue;
      counts[j] = static_cast<float>(values.size());
      const Spread spread = robust_mean(values, buffer);
      level.value[j] = spread.mean;
      sd[j] = spread.sd;
    }
  });
  std::vector<float> seen;
  for (std::size_t j = 0; j < size; ++j) {
    if (counts[j] > 0.0F) seen.push_back(frames < 4 ? std::abs(level.value[j]) : sd[j]);
  }
  if (seen.empty()) return;
  const auto middle = seen.begin() + static_cast<std::ptrdiff_t>(seen.size() / 2);
  std::nth_element(seen.begin(), middle, seen.end());
  const double usual = std::max(1e-3, static_cast<double>(*middle));
  for (std::size_t j = 0; j < size; ++j) {
    if (counts[j] <= 0.0F) continue;
    const double own = frames < 4 ? usual : static_cast<double>(sd[j]);
    const auto n = static_cast<double>(counts[j]);
    const double var =
        (n * own * own + scatter_prior_frames * usual * usual) / (n + scatter_prior_frames);
    level.inv_var[j] = static_cast<float>(1.0 / var);
  }
}

}  // namespace

LevelShapes level_shapes(const AtlasOptions& options) {
  LevelShapes shapes;
  for (int l = 0; l < ring_levels; ++l) {
    shapes[static_cast<std::size_t>(l)] =
        make_ring_shape(options.meridians >> l, options.radii >> l, options.inner_radius,
                        options.outer_radius, options.globe_mm / options.limbus_mm);
  }
  return shapes;
}

RingTemplate average_template(std::span<const AtlasSample> samples, const LevelShapes& shapes,
                              const Eigen::Matrix2d& picture_from_upright) {
  std::vector<const AtlasSample*> used;
  for (const AtlasSample& s : samples) {
    if (s.used) used.push_back(&s);
  }
  RingTemplate ring;
  ring.picture_from_upright = picture_from_upright;
  std::array<std::vector<std::vector<float>>, ring_levels> rings, masks;
  for (int l = 0; l < ring_levels; ++l) {
    rings[l].resize(used.size());
    masks[l].resize(used.size());
    ring.level[l].shape = shapes[l];
  }
  cv::parallel_for_(cv::Range(0, static_cast<int>(used.size())), [&](const cv::Range& range) {
    Aligner aligner;
    for (int f = range.start; f < range.end; ++f) {
      const Alignment& a = used[f]->alignment;
      aligner.look_at(used[f]->frame->luma, a.pose, static_cast<double>(shapes[0].radius.back()));
      const auto per_gain = static_cast<float>(1.0 / a.gain);
      for (int l = 0; l < ring_levels; ++l) {
        aligner.contrast(shapes[l], l, a.pose, rings[l][f], masks[l][f]);
        for (float& v : rings[l][f]) v *= per_gain;
      }
    }
  });
  for (int l = 0; l < ring_levels; ++l) {
    average_level(rings[l], masks[l], ring.level[l]);
    RingTemplate::differentiate(ring.level[l]);
  }
  return ring;
}

namespace {

struct DepthSums {
  std::vector<double> moment, weight;
};

// Regression of one sample's residuals on its parallax times the gradient, row by row.
void add_depth_evidence(const AtlasSample& sample, const TemplateLevel& level,
                        const Eigen::Vector2d& mean_parallax, Aligner& aligner,
                        std::vector<float>& contrast, std::vector<float>& mask, DepthSums& sums) {
  const RingShape& shape = level.shape;
  const Alignment& a = sample.alignment;
  aligner.look_at(sample.frame->luma, a.pose, static_cast<double>(shape.radius.back()));
  aligner.contrast(shape, 0, a.pose, contrast, mask);
  const auto per_gain = static_cast<float>(1.0 / a.gain);
  const auto cut = static_cast<float>(1.0 / (6.0 * a.scatter * a.scatter));
  const Eigen::Vector2f q = (a.pose.parallax - mean_parallax).cast<float>();
  for (int k = 0; k < shape.rows; ++k) {
    float moment = 0.0F, weight = 0.0F;
    for (int i = 0; i < shape.meridians; ++i) {
      const std::size_t j = static_cast<std::size_t>(k) * shape.meridians + i;
      const float e = contrast[j] * per_gain - level.value[j];
      const float v = level.inv_var[j] * mask[j];
      const float w = 1.0F / (1.0F + e * e * v * cut);
      const float slope = level.grad_x[j] * q.x() + level.grad_y[j] * q.y();
      moment += v * w * w * e * slope;
      weight += v * w * w * slope * slope;
    }
    sums.moment[k] -= static_cast<double>(moment);
    sums.weight[k] += static_cast<double>(weight);
  }
}

// Neighbouring rows share their depth: sums are spread by a bell; a prior of mean zero holds rows
// that tell little.
std::vector<double> smooth_depth(const DepthSums& sums, const RingShape& shape, double spread) {
  const int rows = shape.rows;
  const double row_step = static_cast<double>(shape.radius[1] - shape.radius[0]);
  double usual = 0.0;
  for (const double w : sums.weight) usual += w / rows;
  const double prior = usual * (least_spread * least_spread) / std::max(1e-12, spread);
  std::vector<double> error(rows, 0.0);
  double at_limbus = 0.0, limbus_weight = 0.0;
  for (int k = 0; k < rows; ++k) {
    double moment = 0.0, weight = prior;
    for (int m = 0; m < rows; ++m) {
      const double d = (m - k) * row_step / depth_bell;
      moment += std::exp(-0.5 * d * d) * sums.moment[m];
      weight += std::exp(-0.5 * d * d) * sums.weight[m];
    }
    error[k] = weight > 0.0 ? moment / weight : 0.0;
    const double off = (static_cast<double>(shape.radius[k]) - 1.0) / depth_bell;
    at_limbus += std::exp(-0.5 * off * off) * error[k];
    limbus_weight += std::exp(-0.5 * off * off);
  }
  for (double& e : error) e -= at_limbus / limbus_weight;
  return error;
}

}  // namespace

void learn_depth(std::span<const AtlasSample> samples, const RingTemplate& ring,
                 LevelShapes& shapes) {
  const TemplateLevel& level = ring.level[0];
  const int rows = level.shape.rows;
  Eigen::Vector2d mean = Eigen::Vector2d::Zero();
  double count = 0.0, spread = 0.0;
  for (const AtlasSample& s : samples) {
    if (!s.used) continue;
    mean += s.alignment.pose.parallax;
    count += 1.0;
  }
  if (count < 1.0) return;
  mean /= count;
  DepthSums sums{std::vector<double>(rows, 0.0), std::vector<double>(rows, 0.0)};
  Aligner aligner;
  std::vector<float> contrast, mask;
  for (const AtlasSample& s : samples) {
    if (!s.used) continue;
    spread += (s.alignment.pose.parallax - mean).squaredNorm() / (2.0 * count);
    add_depth_evidence(s, level, mean, aligner, contrast, mask, sums);
  }
  const std::vector<double> error = smooth_depth(sums, level.shape, spread);
  const float row_step = level.shape.radius[1] - level.shape.radius[0];
  for (RingShape& shape : shapes) {
    for (int k = 0; k < shape.rows; ++k) {
      const auto row =
          static_cast<double>((shape.radius[k] - level.shape.radius.front()) / row_step);
      const int below = std::clamp(static_cast<int>(row), 0, rows - 2);
      const double part = std::clamp(row - below, 0.0, 1.0);
      shape.depth[k] += static_cast<float>((1.0 - part) * error[below] + part * error[below + 1]);
    }
  }
}

cv::Mat average_plane(std::span<const AtlasSample> samples, const RingShape& shape,
                      cv::Mat video::Frame::*plane, bool chroma, cv::Mat* seen) {
  std::vector<std::vector<float>> values, masks;
  PictureLevels pictures;
  for (const AtlasSample& s : samples) {
    const cv::Mat& picture = s.frame->*plane;
    if (!s.used || picture.empty()) continue;
    RingPose pose = s.alignment.pose;
    int level = picture_level_for(pose.scale());
    if (chroma) {
      pose.linear *= 0.5;
      pose.offset_px = ((pose.offset_px.array() + 0.5) * 0.5 - 0.5).matrix();
      level = std::max(0, level - 1);
    }
    pictures.prepare(picture, pose.offset_px,
                     pose.scale() * (static_cast<double>(shape.radius.back()) + 0.3), level);
    values.emplace_back(shape.size());
    masks.emplace_back(shape.size());
    pictures.read(level, shape, pose, values.back().data(), masks.back().data());
  }
  cv::Mat mean(shape.rows, shape.meridians, CV_32FC1, cv::Scalar(0));
  if (seen != nullptr) *seen = cv::Mat::zeros(shape.rows, shape.meridians, CV_32FC1);
  std::vector<float> point, buffer;
  for (std::size_t j = 0; j < shape.size() && !values.empty(); ++j) {
    point.clear();
    for (std::size_t f = 0; f < values.size(); ++f) {
      if (masks[f][j] > 0.0F) point.push_back(values[f][j]);
    }
    if (point.empty()) continue;
    if (seen != nullptr) {
      seen->ptr<float>()[j] = static_cast<float>(point.size()) / static_cast<float>(values.size());
    }
    mean.ptr<float>()[j] = robust_mean(point, buffer).mean;
  }
  return mean;
}

}  // namespace rhumb::eye
