#include "eye/register.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "eye/detail_share.h"

namespace rhumb::eye {

namespace {

using Matrix8d = Eigen::Matrix<double, 8, 8>;
using Vector8d = Eigen::Matrix<double, 8, 1>;
using Map = Eigen::Map<const Eigen::VectorXf>;

// Residuals of neighbouring points share sensor noise, interpolation and compression blocks: so
// many of them count as one against the prior. The standard errors do not rest on it; they come
// from the scatter between sectors.
constexpr double points_in_one = 10.0;
// Geman and McClure's scale in units of the residuals' robust standard deviation.
constexpr float weight_scale = 2.5F;

// e = what is left of a picture's contrast; the six directions of a point's gradient that the eight
// parameters need: gx, gy, radial, tangential, and the two shears.
constexpr int basis_size = 6;

// Standard errors of rotation beyond the scatter within a frame, measured on practice clips made
// outside the project: 0.015 degrees always, 0.3 degrees per unit of tilt's tangent; and clusters
// are not quite independent.
constexpr double still_se_rad = 2.6e-4;
constexpr double per_tilt_se_rad = 5.2e-3;
constexpr double scatter_factor = 2.0;

}  // namespace

struct Aligner::Normal {
  Matrix8d h = Matrix8d::Zero();
  Vector8d g = Vector8d::Zero();
  Matrix8d scatter = Matrix8d::Zero();  // sum over clusters of g g^T
  int clusters = 0;
};

int picture_level_for(double scale_px) {
  int level = 0;
  while (scale_px > 320.0 && level + ring_levels < PictureLevels::most_levels) {
    scale_px *= 0.5;
    ++level;
  }
  return level;
}

void RingTemplate::differentiate(TemplateLevel& level) {
  const int n = level.shape.meridians, rows = level.shape.rows;
  const float row_step =
      (level.shape.radius.back() - level.shape.radius.front()) / static_cast<float>(rows - 1);
  const float column_step = 2.0F * static_cast<float>(M_PI) / static_cast<float>(n);
  level.grad_x.assign(level.shape.size(), 0.0F);
  level.grad_y.assign(level.shape.size(), 0.0F);
  const auto at = [&](int k, int i) {
    return level.value[static_cast<std::size_t>(std::clamp(k, 0, rows - 1)) * n +
                       static_cast<std::size_t>((i + n) % n)];
  };
  // Fourth-order central differences.
  for (int k = 0; k < rows; ++k) {
    const float per_tangent = 1.0F / (12.0F * column_step * level.shape.radius[k]);
    const float per_row = 1.0F / (12.0F * row_step);
    for (int i = 0; i < n; ++i) {
      const float t =
          per_tangent * (8.0F * (at(k, i + 1) - at(k, i - 1)) - (at(k, i + 2) - at(k, i - 2)));
      const bool inner = k >= 2 && k < rows - 2;
      const float r =
          inner ? per_row * (8.0F * (at(k + 1, i) - at(k - 1, i)) - (at(k + 2, i) - at(k - 2, i)))
                : (at(k + 1, i) - at(k - 1, i)) /
                      (row_step * (k == 0 || k == rows - 1 ? 1.0F : 2.0F));
      const std::size_t j = static_cast<std::size_t>(k) * n + i;
      const float c = level.shape.cosine[i], s = level.shape.sine[i];
      level.grad_x[j] = r * c - t * s;
      level.grad_y[j] = r * s + t * c;
    }
  }
}

void Aligner::look_at(const cv::Mat& luma, const RingPose& pose, double outer_radius) {
  base_level_ = picture_level_for(pose.scale());
  // A margin so that the start may be off by a quarter of the limbal radius.
  pictures_.prepare(luma, pose.offset_px, pose.scale() * (outer_radius + 0.3),
                    base_level_ + ring_levels - 1);
}

int Aligner::read_level(const RingShape& shape, int level, const RingPose& pose,
                        bool keep_surround) {
  value_.resize(shape.size());
  mask_.resize(shape.size());
  contrast_.resize(shape.size());
  const int outside = pictures_.read(base_level_ + level, shape, pose, value_.data(), mask_.data());
  normaliser_.normalise(shape, value_.data(), mask_.data(), outside, contrast_.data(),
                        keep_surround);
  return outside;
}

void Aligner::contrast(const RingShape& shape, int level, const RingPose& pose,
                       std::vector<float>& contrast, std::vector<float>& mask) {
  read_level(shape, level, pose, false);
  contrast = contrast_;
  mask = mask_;
}

namespace {

// Median of the absolute values of every `stride`th element with weight, times 1.4826.
double robust_scale(const std::vector<float>& residual, const std::vector<float>& weight,
                    std::vector<float>& buffer) {
  buffer.clear();
  for (std::size_t i = 0; i < residual.size(); i += 7) {
    if (weight[i] > 0.0F) buffer.push_back(std::abs(residual[i]) * std::sqrt(weight[i]));
  }
  if (buffer.empty()) return 0.0;
  const auto middle = buffer.begin() + static_cast<std::ptrdiff_t>(buffer.size() / 2);
  std::nth_element(buffer.begin(), middle, buffer.end());
  return 1.4826 * static_cast<double>(*middle);
}

}  // namespace

// Residuals, their scale and every point's weight under the current reading; returns the agreement.
double Aligner::weigh(const TemplateLevel& level) {
  const std::size_t size = level.shape.size();
  const int n = level.shape.meridians, rows = level.shape.rows;
  residual_.resize(size);
  weight_.resize(size);
  // The gain: one number a frame, by weighted regression on the atlas, with the weights of the pass
  // before.
  double it = 0.0, tt = 0.0, ii = 0.0;
  using Row = Eigen::Map<const Eigen::ArrayXf>;
  for (int k = 0; k < rows; ++k) {
    const std::ptrdiff_t j = static_cast<std::ptrdiff_t>(k) * n;
    const Row w(weight_.data() + j, n), m(mask_.data() + j, n), c(contrast_.data() + j, n);
    const Row v(level.value.data() + j, n);
    it += static_cast<double>((w * m * c * v).sum());
    tt += static_cast<double>((w * m * v * v).sum());
    ii += static_cast<double>((w * m * c * c).sum());
  }
  gain_ = tt > 0.0 ? std::clamp(it / tt, 0.1, 4.0) : 1.0;
  const auto per_gain = static_cast<float>(1.0 / gain_);
  for (std::size_t j = 0; j < size; ++j) {
    residual_[j] = contrast_[j] * per_gain - level.value[j];
    weight_[j] = level.inv_var[j] * mask_[j];
  }
  scatter_ = std::max(0.05, robust_scale(residual_, weight_, sample_));
  const auto inv_scatter = static_cast<float>(1.0 / (scatter_ * scatter_));
  // Blocks: the mean of squared standardised residuals, cut at 9; near 1 where the atlas explains
  // the block.
  const int width = n / ring_sectors, height = rows / ring_bands;
  std::array<float, ring_sectors * ring_bands> sum{}, count{};
  square_.resize(static_cast<std::size_t>(n));
  for (int k = 0; k < rows; ++k) {
    const std::ptrdiff_t j = static_cast<std::ptrdiff_t>(k) * n;
    Eigen::Map<Eigen::ArrayXf> square(square_.data(), n);
    const Row e(residual_.data() + j, n), w(weight_.data() + j, n);
    square = (e * e * w * inv_scatter).min(9.0F);
    const int first = std::min(k / height, ring_bands - 1) * ring_sectors;
    for (int s = 0; s < ring_sectors; ++s) {
      sum[first + s] += square.segment(s * width, width).sum();
      count[first + s] += static_cast<float>((w.segment(s * width, width) > 0.0F).count());
    }
  }
  for (std::size_t b = 0; b < sum.size(); ++b) {
    const float excess = count[b] > 0.0F ? std::max(0.0F, sum[b] / count[b] - 1.0F) : 9.0F;
    block_weight_[b] = 1.0F / (1.0F + excess * excess);
  }
  const float cut = inv_scatter / (weight_scale * weight_scale);
  for (int k = 0; k < rows; ++k) {
    const int b = std::min(k / height, ring_bands - 1);
    for (int s = 0; s < ring_sectors; ++s) {
      const float block = block_weight_[static_cast<std::size_t>(b) * ring_sectors + s];
      const std::size_t j0 = static_cast<std::size_t>(k) * n + static_cast<std::size_t>(s) * width;
      for (std::size_t j = j0; j < j0 + width; ++j) {
        const float q = 1.0F / (1.0F + residual_[j] * residual_[j] * weight_[j] * cut);
        weight_[j] *= q * q * block;
      }
    }
  }
  return it / std::sqrt(std::max(1e-30, tt * ii));
}

// The six directions of a row's gradients, and the same times the weights.
void Aligner::fill_basis(const TemplateLevel& level, int row) {
  const int n = level.shape.meridians;
  const std::size_t j0 = static_cast<std::size_t>(row) * n;
  basis_.resize(static_cast<std::size_t>(n) * basis_size);
  weighted_.resize(static_cast<std::size_t>(n) * basis_size);
  const float* __restrict c = level.shape.cosine.data();
  const float* __restrict s = level.shape.sine.data();
  const float* __restrict gx = level.grad_x.data() + j0;
  const float* __restrict gy = level.grad_y.data() + j0;
  const float* __restrict w = weight_.data() + j0;
  float* __restrict b = basis_.data();
  for (int i = 0; i < n; ++i) {
    const float xc = gx[i] * c[i], ys = gy[i] * s[i], yc = gy[i] * c[i], xs = gx[i] * s[i];
    b[i] = gx[i];
    b[n + i] = gy[i];
    b[2 * n + i] = xc + ys;
    b[3 * n + i] = yc - xs;
    b[4 * n + i] = xc - ys;
    b[5 * n + i] = xs + yc;
  }
  float* __restrict wb = weighted_.data();
  for (int a = 0; a < basis_size; ++a) {
    for (int i = 0; i < n; ++i) wb[a * n + i] = b[a * n + i] * w[i];
  }
}

namespace {

// From the six directions to the eight parameters: radius and depth are constant in a row.
Eigen::Matrix<double, 8, basis_size> lift_of(const RingShape& shape, int row) {
  Eigen::Matrix<double, 8, basis_size> lift = Eigen::Matrix<double, 8, basis_size>::Zero();
  const auto r = static_cast<double>(shape.radius[row]);
  const auto z = static_cast<double>(shape.depth[row]);
  lift(0, 0) = lift(1, 1) = 1.0;
  lift(2, 2) = lift(3, 3) = lift(4, 4) = lift(5, 5) = r;
  lift(6, 0) = lift(7, 1) = z;
  return lift;
}

}  // namespace

void Aligner::accumulate(const TemplateLevel& level, bool with_curvature, Normal& normal) {
  const int n = level.shape.meridians;
  normal.g.setZero();
  if (with_curvature) normal.h.setZero();
  for (int k = 0; k < level.shape.rows; ++k) {
    fill_basis(level, k);
    const float* b = basis_.data();
    const float* wb = weighted_.data();
    Eigen::Matrix<double, basis_size, basis_size> inner;
    Eigen::Matrix<double, basis_size, 1> slope;
    const Map e(residual_.data() + static_cast<std::ptrdiff_t>(k) * n, n);
    for (int a = 0; a < basis_size; ++a) {
      const Map wa(wb + static_cast<std::ptrdiff_t>(a) * n, n);
      slope(a) = static_cast<double>(wa.dot(e));
      for (int d = a; with_curvature && d < basis_size; ++d) {
        inner(a, d) = inner(d, a) =
            static_cast<double>(wa.dot(Map(b + static_cast<std::ptrdiff_t>(d) * n, n)));
      }
    }
    const auto lift = lift_of(level.shape, k);
    if (with_curvature) normal.h += lift * inner * lift.transpose();
    normal.g += lift * slope;
  }
}

// Scatter of the slopes between clusters of the ring, each a band of a twelfth: wide enough that
// errors shared by neighbours (depth, refraction, compression blocks) show as scatter.
void Aligner::scatter_of(const TemplateLevel& level, Normal& normal) {
  constexpr int arcs = 12;
  const int n = level.shape.meridians, width = n / arcs, height = level.shape.rows / ring_bands;
  Eigen::Matrix<double, 8, arcs * ring_bands> by_cluster;
  by_cluster.setZero();
  for (int k = 0; k < level.shape.rows; ++k) {
    fill_basis(level, k);
    const auto lift = lift_of(level.shape, k);
    const int band = std::min(k / height, ring_bands - 1);
    for (int q = 0; q < arcs; ++q) {
      Eigen::Matrix<double, basis_size, 1> part;
      const std::ptrdiff_t j = static_cast<std::ptrdiff_t>(q) * width;
      const Map e(residual_.data() + static_cast<std::ptrdiff_t>(k) * n + j, width);
      for (int a = 0; a < basis_size; ++a) {
        part(a) = static_cast<double>(
            Map(weighted_.data() + static_cast<std::ptrdiff_t>(a) * n + j, width).dot(e));
      }
      by_cluster.col(band * arcs + q) += lift * part;
    }
  }
  normal.scatter = by_cluster * by_cluster.transpose();
  normal.clusters = 0;
  for (int q = 0; q < arcs * ring_bands; ++q)
    normal.clusters += by_cluster.col(q).isZero(0.0) ? 0 : 1;
}

void Aligner::judge_sectors(const TemplateLevel& level, Alignment& result) {
  const int n = level.shape.meridians, rows = level.shape.rows, width = n / ring_sectors;
  using Row = Eigen::Map<const Eigen::ArrayXf>;
  std::array<Eigen::Vector4d, ring_sectors> sum;
  sum.fill(Eigen::Vector4d::Zero());
  double it = 0.0, tt = 0.0, ii = 0.0;
  square_.resize(static_cast<std::size_t>(n) * 3);
  Eigen::Map<Eigen::ArrayXf> v(square_.data(), n), frame(square_.data() + n, n),
      atlas(square_.data() + 2 * n, n);
  for (int k = 0; k < rows; ++k) {
    const std::ptrdiff_t j = static_cast<std::ptrdiff_t>(k) * n;
    v = Row(level.inv_var.data() + j, n) * Row(mask_.data() + j, n);
    const float total = v.sum();
    if (total <= 0.0F) continue;
    // What is the same at all meridians (the step at the limbus) is the same in every eye: it
    // proves nothing.
    frame = Row(contrast_.data() + j, n) * static_cast<float>(1.0 / gain_);
    atlas = Row(level.value.data() + j, n);
    frame -= (v * frame).sum() / total;
    atlas -= (v * atlas).sum() / total;
    const Row w(weight_.data() + j, n);
    it += static_cast<double>((w * frame * atlas).sum());
    tt += static_cast<double>((w * atlas * atlas).sum());
    ii += static_cast<double>((w * frame * frame).sum());
    for (int s = 0; s < ring_sectors; ++s) {
      const auto vs = v.segment(s * width, width);
      const auto fs = frame.segment(s * width, width);
      const auto as = atlas.segment(s * width, width);
      sum[s] += Eigen::Vector4d((vs * fs * as).sum(), (vs * as * as).sum(), (vs * fs * fs).sum(),
                                static_cast<double>((vs > 0.0F).count()));
    }
  }
  result.agreement = it / std::sqrt(std::max(1e-30, tt * ii));
  double share = 0.0;
  for (int s = 0; s < ring_sectors; ++s) {
    // Correlation against the one that noise alone would leave; a fifth of it is nothing, four
    // fifths full agreement.
    const double best = std::sqrt(sum[s](1) / (sum[s](1) + sum[s](3) + 1e-20));
    const double got = sum[s](0) / std::sqrt(sum[s](1) * sum[s](2) + 1e-20);
    const double agreed = best > 0.0 ? std::clamp((got / best - 0.2) / 0.6, 0.0, 1.0) : 0.0;
    const bool seen = sum[s](3) > 0.25 * width * rows;
    result.sector_weight[s] = seen ? static_cast<float>(agreed) : 0.0F;
    share += seen ? agreed : 0.0;
  }
  result.ring_share = share / ring_sectors;
}

Eigen::Vector2d foreshortening(const Eigen::Vector2d& q) {
  const double square = q.squaredNorm();
  if (square < 1e-12) return Eigen::Vector2d::Zero();
  const double half_log = -0.25 * std::log1p(square);  // half of ln cos(atan |q|)
  return half_log / square * Eigen::Vector2d(q.x() * q.x() - q.y() * q.y(), 2.0 * q.x() * q.y());
}

PoseParts parts_of(const Eigen::Matrix2d& picture_from_upright, const Eigen::Matrix2d& linear) {
  const Eigen::Matrix2d m = picture_from_upright.transpose() * linear;
  PoseParts parts;
  parts.scale = std::sqrt(std::abs(m.determinant()));
  // Nearest rotation to a 2x2 matrix of positive determinant, in closed form.
  parts.rotation_rad = std::atan2(m(1, 0) - m(0, 1), m(0, 0) + m(1, 1));
  const double c = std::cos(parts.rotation_rad), s = std::sin(parts.rotation_rad);
  Eigen::Matrix2d back;
  back << c, s, -s, c;
  const Eigen::Matrix2d symmetric =
      back * m / parts.scale;  // cosh|v| I + sinh|v| / |v| [v0 v1; v1 -v0]
  const Eigen::Vector2d v(0.5 * (symmetric(0, 0) - symmetric(1, 1)),
                          0.5 * (symmetric(0, 1) + symmetric(1, 0)));
  const double size = v.norm();
  parts.shear = size > 1e-12 ? Eigen::Vector2d(v * (std::asinh(size) / size)) : v;
  return parts;
}

Eigen::Matrix2d linear_of(const Eigen::Matrix2d& picture_from_upright, const PoseParts& parts) {
  const double size = parts.shear.norm();
  const double part = size > 1e-12 ? std::sinh(size) / size : 1.0;
  const double ch = std::cosh(size), b = part * parts.shear.x(), c = part * parts.shear.y();
  Eigen::Matrix2d symmetric;
  symmetric << ch + b, c, c, ch - b;
  Eigen::Matrix2d turn;
  const double cr = std::cos(parts.rotation_rad), sr = std::sin(parts.rotation_rad);
  turn << cr, -sr, sr, cr;
  return picture_from_upright * turn * symmetric * parts.scale;
}

namespace {

// Adds the prior of shear and parallax at a pose: residuals f with Jacobian J against the eight
// increments (the pose moves against them).
void add_prior(const RingPose& pose, const Eigen::Matrix2d& upright, const AlignOptions& options,
               double strength, Matrix8d& h, Vector8d& g) {
  const PoseParts parts = parts_of(upright, pose.linear);
  const Eigen::Vector2d q = pose.parallax;
  const Eigen::Vector2d off = parts.shear - foreshortening(q);
  Eigen::Matrix<double, 4, 8> j = Eigen::Matrix<double, 4, 8>::Zero();
  Eigen::Vector4d f;
  const double ws = 1.0 / options.shear_sd, wq = 1.0 / options.parallax_sd;
  f << off * ws, q * wq;
  j(0, 4) = j(1, 5) = ws;
  j(0, 6) = 0.5 * q.x() * ws;
  j(0, 7) = -0.5 * q.y() * ws;
  j(1, 6) = 0.5 * q.y() * ws;
  j(1, 7) = 0.5 * q.x() * ws;
  j(2, 6) = j(3, 7) = wq;
  h += strength * j.transpose() * j;
  g += strength * j.transpose() * f;
}

// pose o (identity + increment)^-1
RingPose moved(const RingPose& pose, const Vector8d& d) {
  Eigen::Matrix2d l;
  l << d(2) + d(4), d(5) - d(3), d(5) + d(3), d(2) - d(4);
  const Eigen::Matrix2d back = (Eigen::Matrix2d::Identity() + l).inverse();
  RingPose out;
  out.linear = pose.linear * back;
  out.offset_px = pose.offset_px - out.linear * d.head<2>();
  out.parallax = back.inverse() * (pose.parallax - d.tail<2>());
  return out;
}

}  // namespace

Alignment Aligner::align(const RingTemplate& ring, const RingPose& start,
                         const AlignOptions& options, int finest) {
  Alignment result;
  result.pose = start;
  for (int l = options.coarsest; l >= finest; --l) {
    const TemplateLevel& level = ring.level[static_cast<std::size_t>(l)];
    weight_ = level.inv_var;
    Normal normal;
    double size = 1.0;
    for (int pass = 0; pass < options.iterations && size > options.settled * (1 << l); ++pass) {
      // The surroundings and the curvature change little once steps are small.
      const bool fresh = pass == 0 || size > 10.0 * options.settled;
      read_level(level.shape, l, result.pose, !fresh);
      if (pass == 0) weigh(level);  // a first weighing, so that outliers do not set the gain
      result.agreement = weigh(level);
      accumulate(level, fresh, normal);
      Matrix8d h = normal.h;
      Vector8d g = normal.g;
      add_prior(result.pose, ring.picture_from_upright, options,
                points_in_one * scatter_ * scatter_, h, g);
      const Vector8d step = h.ldlt().solve(g);
      size = step.cwiseAbs().maxCoeff();
      if (!(size < 0.5)) return Alignment{};
      result.pose = moved(result.pose, step);
    }
    if (l == finest) {
      Matrix8d h = normal.h;
      add_prior(result.pose, ring.picture_from_upright, options,
                points_in_one * scatter_ * scatter_, h, normal.g);
      scatter_of(level, normal);
      const Matrix8d inverse = h.inverse();
      const double clusters = std::max(9, normal.clusters);
      result.covariance = inverse * normal.scatter * inverse * (clusters / (clusters - 8.0)) +
                          inverse * (scatter_ * scatter_);
      result.gain = gain_;
      result.scatter = scatter_;
      judge_sectors(level, result);
      result.detail_share = detail_share(level, contrast_, mask_);
    }
  }
  return result;
}

EyePose eye_pose_of(const Alignment& alignment, const Eigen::Matrix2d& picture_from_upright) {
  EyePose pose;
  pose.picture_from_atlas = alignment.pose.linear;
  pose.offset_px = alignment.pose.offset_px;
  pose.parallax = alignment.pose.parallax;
  pose.rotation_rad = parts_of(picture_from_upright, alignment.pose.linear).rotation_rad;
  // Beside the scatter: what coding and interpolation leave in a still eye, and what refraction and
  // the flat model of the ring leave under tilt.
  const double tilt = alignment.pose.parallax.norm();
  pose.rotation_se_rad =
      std::sqrt(scatter_factor * std::max(0.0, alignment.covariance(3, 3)) +
                still_se_rad * still_se_rad + tilt * tilt * per_tilt_se_rad * per_tilt_se_rad);
  pose.shear_se =
      std::sqrt(std::max(0.0, 0.5 * (alignment.covariance(4, 4) + alignment.covariance(5, 5))));
  pose.ring_share = alignment.ring_share;
  pose.sector_weight.assign(alignment.sector_weight.begin(), alignment.sector_weight.end());
  return pose;
}

RingPose ring_pose_of(const EyePose& pose) {
  return {pose.offset_px, pose.picture_from_atlas, pose.parallax};
}

}  // namespace rhumb::eye
