#include "eye/limbus_rays.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "eye/median.h"

namespace rhumb::eye::limbus_fit {
namespace {

constexpr double pi = std::numbers::pi;
constexpr float dark = 12.0F;  // grey levels; keeps ratios finite in the black of a picture

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

double radius_towards(const LimbusEllipse& e, double c, double s) {
  const double ca = std::cos(e.angle_rad), sa = std::sin(e.angle_rad);
  const double u = (c * ca + s * sa) / e.semi_major_px;
  const double v = (-c * sa + s * ca) / e.semi_minor_px;
  return 1.0 / std::sqrt(u * u + v * v);
}

std::array<double, 2> colour_of(const Unwrapped& polar, int first, int half) {
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

}  // namespace rhumb::eye::limbus_fit
