#include "lens/contrast.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "lens/side_by_side.h"

namespace rhumb::lens {
namespace {

// Local median at half resolution: the surroundings are smooth, and the median's cost is not.
cv::Mat surroundings(const cv::Mat& plane, double radius_px) {
  cv::Mat half;
  cv::resize(plane, half, cv::Size(), 0.5, 0.5, cv::INTER_AREA);
  cv::medianBlur(half, half, 2 * static_cast<int>(std::lround(0.5 * radius_px)) + 1);
  cv::GaussianBlur(half, half, cv::Size(), 1.0);
  cv::Mat full;
  cv::resize(half, full, plane.size(), 0, 0, cv::INTER_LINEAR);
  return full;
}

int odd_px(double radii, const PatchGeometry& geometry) {
  return 2 * static_cast<int>(std::lround(0.5 * radii * geometry.pixels_per_radius)) + 1;
}

cv::Mat disc(int diameter_px) {
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(diameter_px, diameter_px));
}

// The connected parts of `candidate` that `wanted` says yes to, by their number and statistics.
template <typename Wanted>
cv::Mat1b parts_of(const cv::Mat1b& candidate, const Wanted& wanted) {
  if (cv::countNonZero(candidate) == 0) return cv::Mat1b(candidate.size(), uchar{0});
  cv::Mat1i label;
  cv::Mat1i stats;
  cv::Mat1d middle;
  const int count = cv::connectedComponentsWithStats(candidate, label, stats, middle, 8, CV_32S);
  const std::vector<uchar> keep = wanted(label, stats, count);
  cv::Mat1b out(candidate.size());
  for (int row = 0; row < label.rows; ++row) {
    const int* part = label.ptr<int>(row);
    uchar* to = out.ptr<uchar>(row);
    for (int col = 0; col < label.cols; ++col) to[col] = keep[static_cast<std::size_t>(part[col])];
  }
  return out;
}

// Parts that hold a point of `seed`.
cv::Mat1b spoilt_parts(const cv::Mat1b& candidate, const cv::Mat1b& seed) {
  return parts_of(candidate, [&](const cv::Mat1i& label, const cv::Mat1i&, int count) {
    std::vector<uchar> keep(static_cast<std::size_t>(count), 0);
    for (int row = 0; row < label.rows; ++row) {
      for (int col = 0; col < label.cols; ++col) {
        if (seed(row, col) && label(row, col) > 0)
          keep[static_cast<std::size_t>(label(row, col))] = 255;
      }
    }
    return keep;
  });
}

cv::Mat1b longer_parts(const cv::Mat1b& candidate, int longest_px) {
  return parts_of(candidate, [&](const cv::Mat1i&, const cv::Mat1i& stats, int count) {
    std::vector<uchar> keep(static_cast<std::size_t>(count), 0);
    for (int part = 1; part < count; ++part) {
      const double length =
          std::hypot(stats(part, cv::CC_STAT_WIDTH), stats(part, cv::CC_STAT_HEIGHT));
      if (length > longest_px) keep[static_cast<std::size_t>(part)] = 255;
    }
    return keep;
  });
}

// Thin parts that run round the eye: the edge of the rhexis, of the optic, of a haptic. They say
// the same of every meridian that they cross, so that comparing meridians takes them out.
cv::Mat1b rings(const cv::Mat1b& bright, const PatchGeometry& geometry) {
  constexpr double widest = 0.055;  // limbal radii (0.3 mm)
  constexpr double shortest = 0.12;
  constexpr float most_radial = 0.35F;  // extent along the meridian, of its length
  cv::Mat1b broad;
  cv::morphologyEx(bright, broad, cv::MORPH_OPEN, disc(odd_px(widest, geometry)));
  cv::Mat1b thin;
  cv::subtract(bright, broad, thin);
  const Eigen::Vector2d centre = geometry.pixel_from(Eigen::Vector2d::Zero());
  return parts_of(thin, [&](const cv::Mat1i& label, const cv::Mat1i& stats, int count) {
    std::vector<float> nearest(static_cast<std::size_t>(count), 1e9F);
    std::vector<float> farthest(static_cast<std::size_t>(count), 0.0F);
    for (int row = 0; row < label.rows; ++row) {
      for (int col = 0; col < label.cols; ++col) {
        const auto part = static_cast<std::size_t>(label(row, col));
        if (part == 0) continue;
        const auto away = static_cast<float>(std::hypot(col - centre.x(), row - centre.y()));
        nearest[part] = std::min(nearest[part], away);
        farthest[part] = std::max(farthest[part], away);
      }
    }
    std::vector<uchar> keep(static_cast<std::size_t>(count), 0);
    for (int part = 1; part < count; ++part) {
      const auto index = static_cast<std::size_t>(part);
      const auto length = static_cast<float>(
          std::hypot(stats(part, cv::CC_STAT_WIDTH), stats(part, cv::CC_STAT_HEIGHT)));
      if (length >= static_cast<float>(shortest * geometry.pixels_per_radius) &&
          farthest[index] - nearest[index] <= most_radial * length)
        keep[index] = 255;
    }
    return keep;
  });
}

void fill_holes(cv::Mat1b& mask) {
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(mask, outlines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  cv::drawContours(mask, outlines, -1, cv::Scalar(255), cv::FILLED);
}

// A bubble is a bright rim about a dark inside, seldom bright all round, and often bright on the
// one side that faces the lamp and dark on the other. Small parts are made whole: a part that lies
// to one side of the smallest circle about it is that circle's lit side.
void round_off(cv::Mat1b& bright, int widest_px) {
  constexpr double one_sided = 0.2;  // of the radius; half a disc lies off its middle by 0.42
  std::vector<std::vector<cv::Point>> outlines;
  cv::findContours(bright, outlines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE);
  for (const auto& outline : outlines) {
    const cv::Rect box = cv::boundingRect(outline);
    if (std::max(box.width, box.height) > widest_px || outline.size() < 5) continue;
    std::vector<cv::Point> hull;
    cv::convexHull(outline, hull);
    cv::fillConvexPoly(bright, hull, cv::Scalar(255));
    const cv::Moments area = cv::moments(outline);
    cv::Point2f middle;
    float radius = 0.0F;
    cv::minEnclosingCircle(outline, middle, radius);
    if (area.m00 <= 0.0) continue;
    const double off = std::hypot(area.m10 / area.m00 - static_cast<double>(middle.x),
                                  area.m01 / area.m00 - static_cast<double>(middle.y));
    if (off > one_sided * static_cast<double>(radius))
      cv::circle(bright, middle, static_cast<int>(std::ceil(radius)), cv::Scalar(255), cv::FILLED);
  }
}

}  // namespace

ContrastMap contrast_map(const Patch& patch, const PatchGeometry& geometry,
                         const ContrastOptions& options) {
  const double radius_px = options.surround_radius * geometry.pixels_per_radius;
  const cv::Mat around_luma = surroundings(patch.luma, radius_px);
  const cv::Mat around_saturation = surroundings(patch.saturation, radius_px);
  ContrastMap map;
  for (auto& value : map.value) value.create(patch.luma.size());
  cv::Mat1b bright(patch.luma.size());
  cv::Mat1b lighter(patch.luma.size());
  cv::Mat1b glaring(patch.luma.size());
  cv::Mat1b dark(patch.luma.size());
  cv::Mat1b outside(patch.luma.size());
  const auto limit = static_cast<float>(options.clamp);
  for (int row = 0; row < patch.luma.rows; ++row) {
    const auto* luma = patch.luma.ptr<uchar>(row);
    const auto* luma_around = around_luma.ptr<uchar>(row);
    const auto* saturation = patch.saturation.ptr<uchar>(row);
    const auto* saturation_around = around_saturation.ptr<uchar>(row);
    auto* value_luma = map.value[0].ptr<float>(row);
    auto* value_saturation = map.value[1].ptr<float>(row);
    auto* is_bright = bright.ptr<uchar>(row);
    auto* is_lighter = lighter.ptr<uchar>(row);
    auto* is_glaring = glaring.ptr<uchar>(row);
    auto* is_dark = dark.ptr<uchar>(row);
    auto* is_outside = outside.ptr<uchar>(row);
    for (int col = 0; col < patch.luma.cols; ++col) {
      // Floors keep the noise of a dark or grey picture from being blown up: limited-range black
      // is 16.
      const float base = std::max(24.0F, static_cast<float>(luma_around[col]));
      const float colour = std::max(12.0F, static_cast<float>(saturation_around[col]));
      const float darker =
          (static_cast<float>(luma_around[col]) - static_cast<float>(luma[col])) / base;
      const float greyer =
          (static_cast<float>(saturation_around[col]) - static_cast<float>(saturation[col])) /
          colour;
      value_luma[col] = std::clamp(darker, -limit, limit);
      value_saturation[col] = std::clamp(greyer, -limit, limit);
      is_bright[col] = darker < -options.bright_excess ? 255 : 0;
      is_lighter[col] = darker < -options.ring_excess ? 255 : 0;
      is_glaring[col] = darker < -options.glare_excess || luma[col] >= options.glare_luma ? 255 : 0;
      is_dark[col] = darker > options.dark_excess ? 255 : 0;
      is_outside[col] = luma[col] == 0 ? 255 : 0;
    }
  }
  cv::Mat1b broad;
  cv::morphologyEx(dark, broad, cv::MORPH_OPEN, disc(odd_px(options.broadest_mark, geometry)));
  // A mark that touches something broad is not part of it.
  cv::Mat1b narrow;
  cv::subtract(dark, broad, narrow);
  const cv::Mat1b ring = rings(lighter, geometry);
  cv::subtract(bright, ring, bright);
  cv::bitwise_or(bright, glaring, bright);
  cv::Mat1b reflex = spoilt_parts(bright, glaring);
  fill_holes(reflex);  // a broad reflex is its own surroundings in the middle
  cv::Mat1b spoilt = longer_parts(narrow, odd_px(options.longest_mark, geometry));
  for (const cv::Mat1b& part : {broad, outside, reflex}) cv::bitwise_or(spoilt, part, spoilt);
  cv::dilate(ring, map.ring, disc(3));
  const auto usable_without = [&](const cv::Mat1b& mask) {
    cv::Mat1b grown;
    cv::dilate(mask, grown, disc(odd_px(0.032, geometry)));
    return cv::Mat1b(255 - grown);
  };
  map.usable_if_light = usable_without(spoilt);
  round_off(bright, odd_px(options.widest_bubble, geometry));
  cv::bitwise_or(spoilt, bright, spoilt);
  map.usable = usable_without(spoilt);
  return map;
}

namespace {

// Medians over the maps of the points of a row, `least` of which must be usable.
void median_row(const std::vector<ContrastMap>& maps, std::size_t least, int row,
                std::vector<Lanes>& values, ContrastMap& out) {
  constexpr float unusable = std::numeric_limits<float>::infinity();  // sorts last
  const int columns = out.usable.cols;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    float* const median = out.value[channel].ptr<float>(row);
    for (int first = 0; first < columns; first += static_cast<int>(lanes)) {
      const auto here =
          static_cast<std::size_t>(std::min(columns - first, static_cast<int>(lanes)));
      std::array<std::size_t, lanes> count{};
      for (std::size_t k = 0; k < maps.size(); ++k) {
        const float* const value = maps[k].value[channel].ptr<float>(row) + first;
        const uchar* const usable = maps[k].usable.ptr<uchar>(row) + first;
        for (std::size_t lane = 0; lane < here; ++lane) {
          values[k][lane] = usable[lane] != 0 ? value[lane] : unusable;
          count[lane] += usable[lane] != 0 ? 1 : 0;
        }
      }
      sort_side_by_side(values);
      for (std::size_t lane = 0; lane < here; ++lane) {
        if (count[lane] < least || count[lane] == 0) continue;
        median[first + static_cast<int>(lane)] = values[count[lane] / 2][lane];
        out.usable(row, first + static_cast<int>(lane)) = 255;
      }
    }
  }
}

}  // namespace

ContrastMap median_of(const std::vector<ContrastMap>& maps) {
  ContrastMap out;
  if (maps.empty()) return out;
  const cv::Size size = maps.front().usable.size();
  for (auto& value : out.value) value = cv::Mat1f::zeros(size);
  out.usable = cv::Mat1b::zeros(size);
  const auto least = static_cast<std::size_t>(std::ceil(0.4 * static_cast<double>(maps.size())));
  cv::Mat1b on_ring(size, 0);  // how many of the maps
  for (const ContrastMap& map : maps)
    if (!map.ring.empty()) cv::add(on_ring, cv::Scalar(1), on_ring, map.ring);
  out.ring = on_ring >= static_cast<double>(least);
  std::vector<Lanes> values(maps.size());
  for (int row = 0; row < size.height; ++row) median_row(maps, least, row, values, out);
  return out;
}

}  // namespace rhumb::lens
