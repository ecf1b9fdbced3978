#include "eye/limbus_fit.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "eye/harmonics.h"
#include "eye/median.h"

namespace rhumb::eye::limbus_fit {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double mad_to_sd = 1.4826;  // of a normal distribution

// Radius of the ellipse in direction (c, s) from its centre.
double radius_towards(const LimbusEllipse& e, double c, double s) {
  const double ca = std::cos(e.angle_rad), sa = std::sin(e.angle_rad);
  const double u = (c * ca + s * sa) / e.semi_major_px;
  const double v = (-c * sa + s * ca) / e.semi_minor_px;
  return 1.0 / std::sqrt(u * u + v * v);
}

bool sample(const cv::Mat& m, double x, double y, std::array<float, 3>& sum) {
  const int ix = static_cast<int>(std::floor(x)), iy = static_cast<int>(std::floor(y));
  if (ix < 0 || iy < 0 || ix + 1 >= m.cols || iy + 1 >= m.rows) return false;
  const auto fx = static_cast<float>(x - ix), fy = static_cast<float>(y - iy);
  const auto* a = m.ptr<cv::Vec3b>(iy) + ix;
  const auto* b = m.ptr<cv::Vec3b>(iy + 1) + ix;
  for (int k = 0; k < 3; ++k) {
    const float top = static_cast<float>(a[0][k]) * (1 - fx) + static_cast<float>(a[1][k]) * fx;
    const float low = static_cast<float>(b[0][k]) * (1 - fx) + static_cast<float>(b[1][k]) * fx;
    sum[static_cast<std::size_t>(k)] += top * (1 - fy) + low * fy;
  }
  return true;
}

}  // namespace

Eigen::Vector2d SmallPicture::to_small(const Eigen::Vector2d& p) const {
  const double half = 0.5 * (factor - 1);
  return {(p.x() - origin.x - half) / factor, (p.y() - origin.y - half) / factor};
}

Eigen::Vector2d SmallPicture::to_picture(const Eigen::Vector2d& p) const {
  const double half = 0.5 * (factor - 1);
  return {p.x() * factor + half + origin.x, p.y() * factor + half + origin.y};
}

SmallPicture reduce(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr, cv::Rect area,
                    int factor) {
  SmallPicture out;
  out.factor = factor;
  // Whole numbers of reduced pixels, even places, so that luma and chroma blocks coincide.
  area &= cv::Rect(0, 0, luma.cols, luma.rows);
  area.x &= ~1;
  area.y &= ~1;
  const int block = factor % 2 == 0 ? factor : 2 * factor;
  area.width -= area.width % block;
  area.height -= area.height % block;
  out.origin = area.tl();
  const cv::Size size(area.width / factor, area.height / factor);
  if (size.area() == 0) return out;
  std::array<cv::Mat, 3> plane;
  if (factor == 1) {
    plane[0] = luma(area);
  } else {
    cv::resize(luma(area), plane[0], size, 0, 0, cv::INTER_AREA);
  }
  for (std::size_t k = 1; k < 3; ++k) {
    const cv::Mat& chroma = k == 1 ? cb : cr;
    if (chroma.empty()) {
      plane[k] = cv::Mat(size, CV_8UC1, cv::Scalar(128));
      continue;
    }
    cv::Rect half(area.x / 2, area.y / 2, area.width / 2, area.height / 2);
    half &= cv::Rect(0, 0, chroma.cols, chroma.rows);
    cv::resize(chroma(half), plane[k], size, 0, 0, factor >= 2 ? cv::INTER_AREA : cv::INTER_LINEAR);
  }
  cv::merge(plane.data(), 3, out.pixels);
  return out;
}

Unwrapped unwrap(const SmallPicture& small, const LimbusEllipse& around, int sectors,
                 int per_sector, double log_from, double log_to, double log_step) {
  Unwrapped out;
  out.sectors = sectors;
  out.columns = static_cast<int>(std::floor((log_to - log_from) / log_step)) + 1;
  out.log_from = log_from;
  out.log_step = log_step;
  out.value.assign(static_cast<std::size_t>(sectors) * out.columns, {0, 0, 0});
  out.first_outside.assign(static_cast<std::size_t>(sectors), out.columns);
  std::vector<double> factor(static_cast<std::size_t>(out.columns));
  for (int i = 0; i < out.columns; ++i)
    factor[static_cast<std::size_t>(i)] = std::exp(log_from + i * log_step);
  for (int s = 0; s < sectors; ++s) {
    auto& limit = out.first_outside[static_cast<std::size_t>(s)];
    auto* row = &out.value[static_cast<std::size_t>(s) * out.columns];
    for (int k = 0; k < per_sector; ++k) {
      const double theta = 2 * pi * (s + (k + 0.5) / per_sector - 0.5) / sectors;
      const double c = std::cos(theta), n = std::sin(theta);
      const double r = radius_towards(around, c, n);
      for (int i = 0; i < limit; ++i) {
        const double d = r * factor[static_cast<std::size_t>(i)];
        if (!sample(small.pixels, around.centre_px.x() + d * c, around.centre_px.y() + d * n,
                    row[i])) {
          limit = i;
          break;
        }
      }
    }
    for (int i = 0; i < limit; ++i) {
      for (float& v : row[i]) v /= static_cast<float>(per_sector);
      row[i][1] -= 128.0F;
      row[i][2] -= 128.0F;
    }
  }
  return out;
}

Steps steps_of(const Unwrapped& polar, int half, bool linear) {
  constexpr float dark = 12.0F;  // grey levels; keeps ratios finite in the black of a picture
  Steps out;
  out.sectors = polar.sectors;
  out.columns = polar.columns;
  const auto total = static_cast<std::size_t>(polar.sectors) * polar.columns;
  out.step.assign(total, {0, 0, 0});
  out.plain.assign(total, 0);
  out.valid.assign(total, 0);
  std::vector<std::array<float, 3>> running(static_cast<std::size_t>(polar.columns) + 1);
  std::vector<float> moment(running.size());  // running sum of column * luma
  for (int s = 0; s < polar.sectors; ++s) {
    const auto* row = &polar.value[static_cast<std::size_t>(s) * polar.columns];
    const int limit = polar.first_outside[static_cast<std::size_t>(s)];
    running[0] = {0, 0, 0};
    moment[0] = 0;
    for (int i = 0; i < limit; ++i) {
      auto& next = running[static_cast<std::size_t>(i) + 1];
      next = running[static_cast<std::size_t>(i)];
      const float y = row[i][0] + dark;
      const float luma = linear ? row[i][0] : std::log(y);
      next[0] += luma;
      moment[static_cast<std::size_t>(i) + 1] =
          moment[static_cast<std::size_t>(i)] + static_cast<float>(i) * luma;
      next[1] += linear ? row[i][1] : row[i][1] / y;
      next[2] += linear ? row[i][2] : row[i][2] / y;
    }
    // One level a sector: a level that changes along the ray would move the edge towards the dark
    // side.
    const float level =
        linear && limit > 0
            ? running[static_cast<std::size_t>(limit)][0] / static_cast<float>(limit) + dark
            : 1.0F;
    for (int i = half; i + half < limit; ++i) {
      const int wide = std::min({5 * half / 2, i, limit - 1 - i});
      if (2 * wide < 3 * half) continue;
      const auto& below = running[static_cast<std::size_t>(i - half)];
      const auto& here = running[static_cast<std::size_t>(i)];
      const auto& after = running[static_cast<std::size_t>(i) + 1];
      const auto& above = running[static_cast<std::size_t>(i) + 1 + half];
      const auto n = static_cast<float>(half);
      auto& step = out.step[static_cast<std::size_t>(s) * polar.columns + i];
      for (std::size_t k = 0; k < 3; ++k)
        step[k] = ((above[k] - after[k]) - (here[k] - below[k])) / (n * level);
      // Shading slopes across the picture: what a straight line through a wider stretch makes of
      // the step is taken off, and the rest scaled so that a true step keeps its height.
      const auto first = static_cast<std::size_t>(i - wide),
                 last = static_cast<std::size_t>(i + wide) + 1;
      const float lever = (moment[last] - moment[first]) -
                          static_cast<float>(i) * (running[last][0] - running[first][0]);
      const auto w = static_cast<float>(wide);
      const float share = (n + 1) / (w * (w + 1) * (2 * w + 1) / 3);
      out.plain[static_cast<std::size_t>(s) * polar.columns + i] = step[0];
      step[0] = (step[0] - share * lever / level) / (1 - share * w * (w + 1) / 2);
      out.valid[static_cast<std::size_t>(s) * polar.columns + i] = 1;
    }
  }
  return out;
}

double RingStep::contrast() const {
  double sum = 0;
  for (std::size_t k = 0; k < 3; ++k) sum += std::pow(middle[k] / scatter[k], 2);
  return std::sqrt(sum);
}

RingStep ring_step(const Steps& steps, const std::vector<int>& column_of_sector) {
  // Steps smaller than these are rounding of 8 bit pictures: a grey level of 100, half a level in
  // the average.
  constexpr std::array<double, 3> least_scatter{0.02, 0.006, 0.006};
  RingStep out;
  for (std::size_t k = 0; k < 3; ++k) {
    std::vector<double> values;
    values.reserve(static_cast<std::size_t>(steps.sectors));
    for (int s = 0; s < steps.sectors; ++s) {
      const int i = column_of_sector[static_cast<std::size_t>(s)];
      if (i < 0 || i >= steps.columns) continue;
      const std::size_t at = static_cast<std::size_t>(s) * steps.columns + i;
      if (steps.valid[at]) values.push_back(steps.step[at][k]);
    }
    out.sectors = static_cast<int>(values.size());
    out.middle[k] = median_of(values);
    for (double& v : values) v = std::abs(v - out.middle[k]);
    out.scatter[k] = std::max(least_scatter[k], mad_to_sd * median_of(values));
  }
  return out;
}

namespace {

struct Edge {
  double theta = 0;      // direction from the centre
  double log_shift = 0;  // of the edge against the ellipse
  double strength = 0;   // step over the ring's usual step
};

// The steepest place of the projected step within the window, by sector.
std::vector<Edge> edges_of(const Steps& steps, const Unwrapped& polar, const RingStep& ring,
                           double window) {
  std::array<double, 3> weight{};
  double usual = 0;
  for (std::size_t k = 0; k < 3; ++k) {
    weight[k] = ring.middle[k] / (ring.scatter[k] * ring.scatter[k]);
    usual += weight[k] * ring.middle[k];
  }
  std::vector<Edge> out;
  const int mid = static_cast<int>(std::lround(-polar.log_from / polar.log_step));
  const int reach = static_cast<int>(std::ceil(window / polar.log_step));
  std::vector<double> response(static_cast<std::size_t>(steps.columns));
  for (int s = 0; s < steps.sectors; ++s) {
    const std::size_t base = static_cast<std::size_t>(s) * steps.columns;
    int best = -1;
    for (int i = std::max(1, mid - reach); i <= std::min(steps.columns - 2, mid + reach); ++i) {
      if (!steps.valid[base + i - 1] || !steps.valid[base + i + 1]) continue;
      double sum = 0;
      for (std::size_t k = 0; k < 3; ++k) sum += weight[k] * steps.step[base + i][k];
      response[static_cast<std::size_t>(i)] = sum / usual;
      if (best < 0 ||
          response[static_cast<std::size_t>(i)] > response[static_cast<std::size_t>(best)])
        best = i;
    }
    if (best < 0 || response[static_cast<std::size_t>(best)] <= 0.2) continue;
    // The triangle-like response is symmetric about the edge: its centre of mass above half height
    // is steadier than its highest point.
    const double top = response[static_cast<std::size_t>(best)];
    double mass = 0, moment = 0;
    for (int side = -1; side <= 1; side += 2) {
      for (int i = side < 0 ? best : best + 1; i > 0 && i + 1 < steps.columns; i += side) {
        if (!steps.valid[base + i]) break;
        double sum = 0;
        for (std::size_t k = 0; k < 3; ++k) sum += weight[k] * steps.step[base + i][k];
        const double over = sum / usual - 0.5 * top;
        if (over <= 0) break;
        mass += over;
        moment += over * i;
      }
    }
    const double at = moment / mass;
    out.push_back({2 * pi * s / steps.sectors, polar.log_from + at * polar.log_step, top});
  }
  return out;
}

// Shape parameters from edge places: mean, shift and elongation of the log radius, as departures
// from `near`.
struct Shape {
  Vector5 value = Vector5::Zero();
  double scatter = 1;
  double support = 0;  // number of edges that agree
};

constexpr double tolerance = 0.02;  // of the radius: edges nearer than this agree with the ellipse

Shape fit_shape(const std::vector<Edge>& edges, double window) {
  Shape out;
  out.scatter = window / 2;
  const double prior = 0.05;  // spread of elongation departures that a round may correct
  for (int round = 0; round < 12; ++round) {
    Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Zero();
    Vector5 right = Vector5::Zero();
    std::vector<double> residual;
    const double gate = 2.5 * out.scatter;
    for (const Edge& e : edges) {
      const Vector5 h = harmonics(e.theta);
      const double r = e.log_shift - h.dot(out.value);
      residual.push_back(std::abs(r));
      // Tukey's biweight; weaker steps weigh less, much stronger ones are something else.
      const double t = r / gate;
      const double robust = std::abs(t) < 1 ? (1 - t * t) * (1 - t * t) : 0.0;
      const double w = robust * std::min(e.strength, 1.0 / std::max(e.strength, 1e-6));
      normal += w * h * h.transpose();
      right += w * e.log_shift * h;
    }
    const double ridge = out.scatter * out.scatter / (prior * prior);
    for (int k = 1; k < 5; ++k) normal(k, k) += ridge;
    normal(0, 0) += 1e-9;
    out.value = normal.ldlt().solve(right);
    out.scatter = std::clamp(mad_to_sd * median_of(residual), 0.004, window / 2);
  }
  // Edges of chance fall anywhere in the window; what they would support is taken off.
  double agree = 0;
  for (const Edge& e : edges) {
    const double r = std::abs(e.log_shift - harmonics(e.theta).dot(out.value));
    if (r < tolerance && e.strength > 0.3 && e.strength < 4) agree += 1;
  }
  const double chance = tolerance / window;
  out.support = std::max(0.0, (agree - chance * static_cast<double>(edges.size())) / (1 - chance));
  return out;
}

// Direct least squares would need care with arcs; here the refined edge points come from the smooth
// shape itself, all the way round, so a plain second-order development of the ellipse's radius is
// inverted instead.
LimbusEllipse moved(const LimbusEllipse& near, const Shape& shape) {
  constexpr int points = 48;
  // Points on the new curve, then a linear fit of conic about the old centre.
  Eigen::Matrix<double, points, 5> design;
  Eigen::Matrix<double, points, 1> one;
  const double scale = near.mean_radius_px();
  for (int i = 0; i < points; ++i) {
    const double theta = 2 * pi * i / points;
    const double c = std::cos(theta), s = std::sin(theta);
    const double r =
        radius_towards(near, c, s) * std::exp(harmonics(theta).dot(shape.value)) / scale;
    const double x = r * c, y = r * s;
    design.row(i) << x * x, x * y, y * y, x, y;
    one(i) = 1;
  }
  const Vector5 q = design.colPivHouseholderQr().solve(one);
  Eigen::Matrix2d m;
  m << q(0), q(1) / 2, q(1) / 2, q(2);
  const Eigen::Vector2d centre = -0.5 * m.inverse() * q.tail<2>();
  const double level = 1 + centre.dot(m * centre);
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(m / level);
  LimbusEllipse out;
  out.centre_px = near.centre_px + scale * centre;
  out.semi_major_px = scale / std::sqrt(std::max(1e-6, eigen.eigenvalues()(0)));
  out.semi_minor_px = scale / std::sqrt(std::max(1e-6, eigen.eigenvalues()(1)));
  out.angle_rad = std::atan2(eigen.eigenvectors()(1, 0), eigen.eigenvectors()(0, 0));
  return out;
}

double middle_of_plain(const Steps& steps, int column) {
  std::vector<double> values;
  for (int s = 0; s < steps.sectors; ++s) {
    const std::size_t at = static_cast<std::size_t>(s) * steps.columns + column;
    if (steps.valid[at]) values.push_back(steps.plain[at]);
  }
  return median_of(values);
}

// Chroma over luma, middle over the sectors of the means of `half` columns from `first` on.
std::array<double, 2> colour_of(const Unwrapped& polar, int first, int half) {
  constexpr float dark = 12.0F;  // grey levels; keeps ratios finite in the black of a picture
  std::array<double, 2> out{};
  for (std::size_t k = 0; k < out.size(); ++k) {
    std::vector<double> values;
    for (int s = 0; s < polar.sectors; ++s) {
      if (first < 0 || first + half > polar.first_outside[static_cast<std::size_t>(s)]) continue;
      const auto* row = &polar.value[static_cast<std::size_t>(s) * polar.columns + first];
      double sum = 0.0;
      for (int i = 0; i < half; ++i) sum += static_cast<double>(row[i][k + 1] / (row[i][0] + dark));
      values.push_back(sum / half);
    }
    if (!values.empty()) out[k] = median_of(values);
  }
  return out;
}

}  // namespace

Fit fit_round(const SmallPicture& small, const LimbusEllipse& near, double window,
              double half_width, bool linear, double chroma_trust) {
  constexpr int sectors = 96;
  Fit out;
  const double step = std::clamp(1.0 / near.mean_radius_px(), 0.008, 0.02);
  const int half = std::max(2, static_cast<int>(std::lround(half_width / step)));
  const double reach = window + (2.5 * half + 2) * step;
  const double from = -step * std::ceil(reach / step);
  const Unwrapped polar = unwrap(small, near, sectors, 2, from, reach, step);
  const Steps steps = steps_of(polar, half, linear);
  const int mid = static_cast<int>(std::lround(-from / step));
  std::vector<int> column(sectors, mid);
  const RingStep ring = ring_step(steps, column);
  if (ring.sectors < sectors / 3) return out;
  RingStep weighed = ring;
  for (std::size_t k = 1; k < 3; ++k) weighed.scatter[k] /= std::max(chroma_trust, 1e-3);
  const std::vector<Edge> edges = edges_of(steps, polar, weighed, window);
  if (edges.size() < sectors / 4) return out;
  const Shape shape = fit_shape(edges, window);
  out.ellipse = moved(near, shape);
  out.ellipse.arc_share = shape.support / sectors;
  out.visible_share = static_cast<double>(ring.sectors) / sectors;
  out.contrast = ring.contrast();
  out.luma_step = ring.middle[0];
  out.plain_step = middle_of_plain(steps, mid);
  out.edge_noise = shape.scatter;
  out.colour_inside = colour_of(polar, mid - 2 * half, half);
  out.colour_outside = colour_of(polar, mid + half + 1, half);
  out.good = out.ellipse.semi_major_px > 1 && out.ellipse.semi_major_px < 10000;
  return out;
}

double middle_of_ring(const SmallPicture& small, const LimbusEllipse& ellipse, double window,
                      double half_width) {
  constexpr int sectors = 96;
  constexpr double least_step = 0.02;  // relative brightness; less is no limbus to lean on
  const double step = std::clamp(1.0 / ellipse.mean_radius_px(), 0.008, 0.02);
  const int half = std::max(2, static_cast<int>(std::lround(half_width / step)));
  const int reach = static_cast<int>(std::ceil(window / step));
  const double from = -step * (reach + half + std::ceil(2.5 * half));
  const Unwrapped polar = unwrap(small, ellipse, sectors, 2, from, -from, step);
  const Steps steps = steps_of(polar, half, true);
  const int mid = static_cast<int>(std::lround(-from / step));
  std::vector<double> curve;
  for (int i = mid - reach - half; i <= mid + reach + half; ++i) {
    std::vector<double> values;
    for (int s = 0; s < sectors; ++s) {
      const std::size_t at = static_cast<std::size_t>(s) * steps.columns + i;
      if (steps.valid[at]) values.push_back(steps.step[at][0]);
    }
    curve.push_back(median_of(values));
  }
  const auto first = curve.begin() + half, last = curve.end() - half;
  const auto top = std::max_element(first, last);
  if (*top < least_step || top == first || top + 1 == last) return 0.0;
  double mass = 0, moment = 0;
  const auto add = [&](std::vector<double>::iterator at) {
    const double over = *at - 0.5 * *top;
    if (over <= 0) return false;
    mass += over;
    moment += over * static_cast<double>(at - curve.begin());
    return true;
  };
  for (auto at = top; at != curve.end() && add(at); ++at) {
  }
  for (auto at = top; at != curve.begin() && add(at - 1); --at) {
  }
  return (moment / mass - (reach + half)) * step;
}

}  // namespace rhumb::eye::limbus_fit
