#include "reference/photo.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "eye/limbus.h"

namespace rhumb::reference {

namespace {

// A map that leaves more of the ring out may be caught beside its place: another limbus is tried.
constexpr int settled_sectors = 18;

}  // namespace

eye::RingView atlas_view(const eye::EyeAtlas& atlas) {
  constexpr double radius = 300.0;
  eye::RingView view;
  const int half = static_cast<int>(std::ceil(atlas.radii.back() * radius)) + 2;
  const int size = 2 * half + 1;
  view.centre = {half, half};
  view.radius = radius;
  view.centre_px = view.centre;
  view.radius_px = radius;
  // A column more on both sides: the ring closes on itself.
  const int margin = 2;
  const auto closed = [&](const cv::Mat& ring) {
    cv::Mat out;
    cv::copyMakeBorder(ring, out, 0, 0, margin, margin, cv::BORDER_WRAP);
    return out;
  };
  cv::Mat mx(size, size, CV_32F), my(size, size, CV_32F);
  for (int y = 0; y < size; ++y) {
    for (int x = 0; x < size; ++x) {
      const double px = (x - half) / radius, py = (half - y) / radius;
      const double r = std::hypot(px, py);
      const bool inside = r >= atlas.radii.front() && r <= atlas.radii.back();
      const double column = atlas.column_of(angle::wrap_meridian(std::atan2(py, px))) + margin;
      mx.at<float>(y, x) = inside ? static_cast<float>(column) : -1e4F;
      my.at<float>(y, x) = inside ? static_cast<float>(atlas.row_of(r)) : -1e4F;
    }
  }
  const auto picture = [&](const cv::Mat& ring) {
    cv::Mat out;
    cv::remap(closed(ring), out, mx, my, cv::INTER_LINEAR, cv::BORDER_CONSTANT, 0);
    return out;
  };
  // Green, as in eye::ring_view; BT.601.
  view.grey = picture(atlas.ring_luma);
  if (!atlas.ring_cb.empty())
    view.grey -= 0.344 * picture(atlas.ring_cb) + 0.714 * picture(atlas.ring_cr);
  view.grey = cv::max(view.grey, 0.0);
  view.usable = picture(atlas.ring_seen) > 0.2;
  return view;
}

eye::RingMatch match_photo(const eye::RingView& view, const Photo& photo,
                           const eye::RingMatchOptions& options, eye::LimbusEllipse* limbus) {
  eye::RingMatch best;
  best.reason = "no limbus was found in the photograph";
  best.evidence = -1e9;
  for (const eye::LimbusEllipse& ring : eye::likely_limbi(photo.luma, photo.cb, photo.cr, {}, 3)) {
    const eye::RingMatch match =
        eye::match_rings(view, eye::ring_view(photo.luma, photo.cb, photo.cr, ring), options);
    if (match.evidence > best.evidence && (match.accepted || !best.accepted)) {
      best = match;
      if (limbus) *limbus = ring;
    }
    if (best.accepted && best.sectors_agreeing >= settled_sectors) break;
  }
  return best;
}

PhotoFinding find_photo(const eye::EyeAtlas& atlas, const Photo& photo, double horizontal_rad,
                        const PhotoOptions& options) {
  PhotoFinding out;
  const eye::RingMatch match = match_photo(atlas_view(atlas), photo, options.match);
  out.agreeing_share = match.share_agreeing;
  out.agreeing_sectors = match.sectors_agreeing;
  out.evidence = match.evidence;
  if (!match.accepted) {
    out.why_not = match.reason;
    return out;
  }
  out.found = true;
  out.zero_rad = angle::wrap_rotation(match.rotation_rad + horizontal_rad);
  // Sectors that don't agree are a part of the ring that the map does not explain.
  out.se_rad = std::hypot(
      match.rotation_se_rad * eye::ring_match_sectors / std::max(1, match.sectors_agreeing),
      options.level_sd_rad);
  return out;
}

}  // namespace rhumb::reference
