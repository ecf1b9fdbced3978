#include "followup/photo_marks.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "followup/photo_pupil.h"

namespace rhumb::followup {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double reach = 0.85;  // limbal radii shown each way
constexpr double fine = 360.0;  // pixels a limbal radius: a dot of 0.15 mm is 9 across
constexpr double coarse = 150.0;

struct Pupil {
  cv::Mat bright;  // CV_32F, log luma
  cv::Mat clear;   // CV_8U, 0 at reflexes
  double scale = fine;
  double middle() const { return 0.5 * (bright.cols - 1); }
  Eigen::Vector2d pixel(const Eigen::Vector2d& p) const {
    return {middle() + scale * p.x(), middle() - scale * p.y()};
  }
};

// Straightened by the limbus's mean radius alone: its ellipse is anatomy as much as tilt.
Pupil straighten(const reference::Photo& photo, const eye::LimbusEllipse& limbus, double scale) {
  Pupil out;
  out.scale = scale;
  const double radius = limbus.mean_radius_px();
  const int size = 2 * static_cast<int>(std::ceil(reach * scale)) + 1;
  const double middle = 0.5 * (size - 1);
  // Averaging before a reduction keeps it from aliasing.
  cv::Mat source = photo.luma;
  double ratio = radius / scale;
  double shift = 0, gain = 1;
  while (ratio > 1.7) {
    cv::Mat half;
    cv::resize(source, half, cv::Size(source.cols / 2, source.rows / 2), 0, 0, cv::INTER_AREA);
    source = half;
    ratio /= 2;
    gain /= 2;
    shift = shift / 2 - 0.25;
  }
  const double cx = limbus.centre_px.x() * gain + shift, cy = limbus.centre_px.y() * gain + shift;
  const cv::Matx23d map(ratio, 0, cx - ratio * middle, 0, ratio, cy - ratio * middle);
  cv::Mat luma;
  cv::warpAffine(source, luma, map, cv::Size(size, size), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_REPLICATE);
  out.clear = luma < 235;
  cv::erode(out.clear, out.clear, cv::Mat(), cv::Point(-1, -1),
            static_cast<int>(std::lround(0.02 * scale)));
  luma.convertTo(out.bright, CV_32F);
  out.bright += 12.0F;
  cv::log(out.bright, out.bright);
  return out;
}

// Leaves nothing outside of the pupil. Its edge is no perfect circle and is soft: a margin goes
// too.
void keep_pupil(Pupil& picture, const PhotoPupil& pupil) {
  constexpr double margin = 0.025;  // limbal radii
  cv::Mat inside = cv::Mat::zeros(picture.clear.size(), CV_8U);
  const Eigen::Vector2d at = picture.pixel(pupil.centre);
  cv::circle(
      inside,
      cv::Point(static_cast<int>(std::lround(at.x())), static_cast<int>(std::lround(at.y()))),
      static_cast<int>((pupil.radius - margin) * picture.scale), cv::Scalar(255), cv::FILLED);
  picture.clear &= inside;
}

double bar_length(const casefile::LensMarks& lens, const MarkOptions& o) {
  const double mm = lens.marks == casefile::MarkKind::Lines
                        ? o.line_mm
                        : o.dot_mm + (std::max(1, lens.marks_per_end) - 1) * o.dot_step_mm;
  return mm / o.limbus_mm;
}

// A bar along (c, -s) in pixels: negative second derivative of a Gaussian across, a Gaussian along;
// unit energy.
cv::Mat bar_kernel(double angle_rad, double across, double along) {
  const int half = static_cast<int>(std::ceil(std::max(3.2 * across, 2.2 * along)));
  cv::Mat k(2 * half + 1, 2 * half + 1, CV_32F);
  const double c = std::cos(angle_rad), s = -std::sin(angle_rad);
  for (int y = -half; y <= half; ++y)
    for (int x = -half; x <= half; ++x) {
      const double u = x * c + y * s, v = -x * s + y * c;
      const double g = std::exp(-0.5 * (u * u / (along * along) + v * v / (across * across)));
      k.at<float>(y + half, x + half) = static_cast<float>((1 - v * v / (across * across)) * g);
    }
  k -= cv::mean(k)[0];
  return k / cv::norm(k);
}

// Scatter of a response where no mark is expected to rule: the middle of its absolute values.
float noise_of(const cv::Mat& response, const cv::Mat& where) {
  std::vector<float> values;
  for (int y = 0; y < response.rows; y += 2)
    for (int x = 0; x < response.cols; x += 2)
      if (where.at<unsigned char>(y, x)) values.push_back(std::abs(response.at<float>(y, x)));
  if (values.size() < 50) return 1.0F;
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2),
                   values.end());
  return std::max(1e-4F, values[values.size() / 2] * 1.4826F);
}

constexpr int angles = 60;  // three degrees apart: finer than a bar's own response

struct Place {
  int angle = 0;
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();
  double distance = 0;
  double score_a = 0, score_b = 0, score = -1e9;
};

// Beyond plain sight more contrast says little: a haptic outshines every mark.
double saturated(double z) { return 10 * std::tanh(z / 10) + 1.5 * std::log1p(z / 10); }

// Best place for each axis.
std::vector<Place> search(const Pupil& pupil, double length, const MarkOptions& o) {
  const double across = 0.011 * pupil.scale, along = std::max(across, length * pupil.scale / 2.8);
  cv::Mat ring = cv::Mat::zeros(pupil.bright.size(), CV_8U);
  const cv::Point middle(static_cast<int>(pupil.middle()), static_cast<int>(pupil.middle()));
  cv::circle(ring, middle, static_cast<int>(0.58 * pupil.scale), cv::Scalar(255), cv::FILLED);
  ring &= pupil.clear;
  std::vector<Place> out;
  for (int k = 0; k < angles; ++k) {
    cv::Mat response;
    cv::filter2D(pupil.bright, response, CV_32F, bar_kernel(k * pi / angles, across, along),
                 cv::Point(-1, -1), 0, cv::BORDER_REPLICATE);
    response /= noise_of(response, ring);
    response.setTo(0, ~pupil.clear);
    const Eigen::Vector2d u(std::cos(k * pi / angles), std::sin(k * pi / angles));
    Place best;
    best.angle = k;
    const double step = 0.015;
    const int wide = static_cast<int>(o.most_decentred / step);
    for (int iy = -wide; iy <= wide; ++iy)
      for (int ix = -wide; ix <= wide; ++ix) {
        const Eigen::Vector2d c(ix * step, iy * step);
        const double off = c.squaredNorm();
        if (off > o.most_decentred * o.most_decentred) continue;
        const double centre_cost = 0.5 * off / (o.centre_sd * o.centre_sd);
        for (double d = 0.26; d < 0.62; d += step) {
          const Eigen::Vector2d a = pupil.pixel(c + d * u), b = pupil.pixel(c - d * u);
          const auto read = [&](const Eigen::Vector2d& p) {
            return static_cast<double>(response.at<float>(cv::Point(
                static_cast<int>(std::lround(p.x())), static_cast<int>(std::lround(p.y())))));
          };
          const double ra = saturated(std::abs(read(a))), rb = saturated(std::abs(read(b)));
          const double far = (d - o.distance_mean) / o.distance_sd;
          // The weaker end counts most: one strong bar alone is a lash or an instrument.
          const double score =
              std::min(ra, rb) + 0.4 * std::max(ra, rb) - centre_cost - 0.5 * far * far;
          if (score > best.score) best = {k, c, d, ra, rb, score};
        }
      }
    out.push_back(best);
  }
  return out;
}

struct Across {
  double offset = 0;  // limbal radii, towards the left of the direction outwards
  double se = 1;
  double contrast = 0;  // over its noise
};

// The bar's middle across the axis: contrast averaged along the bar, its peak's centre of mass.
Across measure_end(const Pupil& pupil, const Eigen::Vector2d& end, const Eigen::Vector2d& out,
                   double length) {
  Across result;
  const Eigen::Vector2d left(-out.y(), out.x());
  const double cell = 1.0 / pupil.scale;
  const int half = static_cast<int>(std::ceil(0.075 / cell));
  const int along = static_cast<int>(std::ceil(0.5 * length / cell));
  std::vector<double> profile(static_cast<std::size_t>(2 * half + 1), 0.0);
  for (int v = -half; v <= half; ++v) {
    double sum = 0;
    int n = 0;
    for (int u = -along; u <= along; ++u) {
      const Eigen::Vector2d p = pupil.pixel(end + out * (u * cell) + left * (v * cell));
      const int x = static_cast<int>(std::floor(p.x())), y = static_cast<int>(std::floor(p.y()));
      if (x < 0 || y < 0 || x + 1 >= pupil.bright.cols || y + 1 >= pupil.bright.rows) continue;
      if (!pupil.clear.at<unsigned char>(y, x)) continue;
      const double fx = p.x() - x, fy = p.y() - y;
      const float* r0 = pupil.bright.ptr<float>(y) + x;
      const float* r1 = pupil.bright.ptr<float>(y + 1) + x;
      sum += (r0[0] * (1 - fx) + r0[1] * fx) * (1 - fy) + (r1[0] * (1 - fx) + r1[1] * fx) * fy;
      ++n;
    }
    if (n < along) return result;
    profile[static_cast<std::size_t>(v + half)] = sum / n;
  }
  // A straight line through both flanks is the ground.
  const int flank = static_cast<int>(std::lround(0.035 / cell));
  double s0 = 0, s1 = 0, s2 = 0, t0 = 0, t1 = 0;
  for (int v = -half; v <= half; ++v) {
    if (std::abs(v) < flank) continue;
    const double y = profile[static_cast<std::size_t>(v + half)];
    s0 += 1;
    s1 += v;
    s2 += v * v;
    t0 += y;
    t1 += v * y;
  }
  const double slope = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1), level = (t0 - slope * s1) / s0;
  double noise = 0;
  for (int v = -half; v <= half; ++v) {
    auto& y = profile[static_cast<std::size_t>(v + half)];
    y -= level + slope * v;
    if (std::abs(v) >= flank) noise += y * y;
  }
  noise = std::sqrt(noise / std::max(1.0, s0 - 2));
  int top = -1;
  for (int v = -flank + 1; v < flank; ++v)
    if (top < 0 || std::abs(profile[static_cast<std::size_t>(v + half)]) >
                       std::abs(profile[static_cast<std::size_t>(top)]))
      top = v + half;
  const double peak = profile[static_cast<std::size_t>(top)];
  double mass = 0, moment = 0, width = 0;
  for (int side = -1; side <= 1; side += 2)
    for (int i = side < 0 ? top : top + 1; i >= 0 && i < static_cast<int>(profile.size());
         i += side) {
      const double over = profile[static_cast<std::size_t>(i)] / peak - 0.35;
      if (over <= 0) break;
      mass += over;
      moment += over * (i - half);
      width += 1;
    }
  if (mass <= 0) return result;
  result.offset = moment / mass * cell;
  result.contrast = std::abs(peak) / std::max(noise, 1e-4);
  // Centre of a bump of this width in noise whose neighbours hang together over about its width.
  result.se = 0.5 * width * cell / result.contrast;
  return result;
}

MarkCandidate measure(const Pupil& pupil, const Place& place, double length) {
  MarkCandidate out;
  const double phi = place.angle * pi / angles;
  Eigen::Vector2d u(std::cos(phi), std::sin(phi));
  out.end_a = place.centre + place.distance * u;
  out.end_b = place.centre - place.distance * u;
  Across a, b;
  for (int round = 0; round < 4; ++round) {
    u = (out.end_a - out.end_b).normalized();
    a = measure_end(pupil, out.end_a, u, length);
    b = measure_end(pupil, out.end_b, -u, length);
    const Eigen::Vector2d left(-u.y(), u.x());
    out.end_a += std::clamp(a.offset, -0.02, 0.02) * left;
    out.end_b -= std::clamp(b.offset, -0.02, 0.02) * left;
  }
  out.distance = 0.5 * (out.end_a - out.end_b).norm();
  out.score_a = place.score_a;
  out.score_b = place.score_b;
  out.score = place.score;
  out.se_rad = std::hypot(a.se, b.se) / (2 * out.distance);
  // A bar that is sharp across counts for more than a smear of the same strength.
  out.score -= 0.5 * std::log(std::max(out.se_rad, 3e-4) / 3e-4);
  return out;
}

}  // namespace

double MarkCandidate::direction_rad() const {
  const Eigen::Vector2d d = end_a - end_b;
  return std::atan2(d.y(), d.x());
}

std::vector<MarkCandidate> find_marks(const reference::Photo& photo,
                                      const eye::LimbusEllipse& limbus,
                                      const casefile::LensMarks& lens, const MarkOptions& options) {
  const double length = bar_length(lens, options);
  Pupil small = straighten(photo, limbus, coarse);
  const auto pupil = find_photo_pupil(small.bright, small.clear, coarse);
  if (pupil) keep_pupil(small, *pupil);
  std::vector<Place> places = search(small, length, options);
  Pupil large = straighten(photo, limbus, fine);
  if (pupil) keep_pupil(large, *pupil);
  std::vector<MarkCandidate> out;
  std::vector<char> taken(angles, 0);
  for (int k = 0; k < options.most; ++k) {
    int best = -1;
    for (int i = 0; i < angles; ++i)
      if (!taken[static_cast<std::size_t>(i)] &&
          (best < 0 || places[static_cast<std::size_t>(i)].score >
                           places[static_cast<std::size_t>(best)].score))
        best = i;
    if (best < 0) break;
    for (int d = -2; d <= 2; ++d) taken[static_cast<std::size_t>((best + d + angles) % angles)] = 1;
    out.push_back(measure(large, places[static_cast<std::size_t>(best)], length));
  }
  return out;
}

}  // namespace rhumb::followup
