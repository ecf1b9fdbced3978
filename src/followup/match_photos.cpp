#include "followup/match_photos.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace rhumb::followup {
namespace {

// Of a photograph's limbal radius; a match bears some four per cent.
constexpr double other_sizes[] = {1.07, 1.14, 1.22, 1.3, 0.93, 0.86};

using Views = std::vector<eye::RingView>;  // of each photograph with the limbus in use

eye::RingView view_of(const PhotoOfSeries& photo, const eye::LimbusEllipse& limbus) {
  return eye::ring_view(photo.photo.luma, photo.photo.cb, photo.photo.cr, limbus);
}

void match(std::vector<Pair>& pairs, const Views& views, const eye::RingMatchOptions& options,
           const ForAll& each) {
  each(static_cast<int>(pairs.size()), [&](int k) {
    Pair& pair = pairs[static_cast<std::size_t>(k)];
    pair.match = eye::match_rings(views[static_cast<std::size_t>(pair.first)],
                                  views[static_cast<std::size_t>(pair.second)], options);
  });
}

const Pair* surest(const std::vector<Pair>& pairs) {
  const Pair* out = nullptr;
  for (const Pair& pair : pairs)
    if (pair.match.accepted && (!out || pair.match.evidence > out->match.evidence)) out = &pair;
  return out;
}

// The limbus of photograph p as its match with another one has it.
eye::LimbusEllipse set_right(const eye::LimbusEllipse& limbus, const Pair& pair, int p) {
  Eigen::Matrix2d linear = pair.match.linear;  // towards p's picture
  Eigen::Vector2d offset = pair.match.offset;
  if (pair.first == p) {
    linear = pair.match.linear.inverse();
    offset = -linear * pair.match.offset;
  }
  eye::LimbusEllipse out = limbus;
  const double radius = limbus.mean_radius_px();
  out.centre_px += radius * Eigen::Vector2d(offset.x(), -offset.y());
  const double scale = std::sqrt(std::abs(linear.determinant()));
  out.semi_major_px *= scale;
  out.semi_minor_px *= scale;
  return out;
}

std::vector<eye::LimbusEllipse> alternatives(const PhotoOfSeries& photo) {
  std::vector<eye::LimbusEllipse> out(photo.limbi.begin() + 1, photo.limbi.end());
  for (const double size : other_sizes) {
    eye::LimbusEllipse scaled = photo.limbi.front();
    scaled.semi_major_px *= size;
    scaled.semi_minor_px *= size;
    out.push_back(scaled);
  }
  return out;
}

// Looks for a limbus of photograph p with which it fits another one; true if one was found.
bool fit_with_other_limbus(std::vector<PhotoOfSeries>& photos, int p, Views& views,
                           std::vector<Pair>& pairs, const eye::RingMatchOptions& options,
                           const ForAll& each) {
  PhotoOfSeries& photo = photos[static_cast<std::size_t>(p)];
  std::vector<Pair> own;
  for (const Pair& pair : pairs)
    if (pair.first == p || pair.second == p) own.push_back(pair);
  const eye::RingView before = views[static_cast<std::size_t>(p)];
  for (const eye::LimbusEllipse& limbus : alternatives(photo)) {
    views[static_cast<std::size_t>(p)] = view_of(photo, limbus);
    match(own, views, options, each);
    const Pair* best = surest(own);
    if (!best) continue;
    const eye::LimbusEllipse better = set_right(limbus, *best, p);
    std::vector<Pair> again = own;
    const eye::RingView coarse = views[static_cast<std::size_t>(p)];
    views[static_cast<std::size_t>(p)] = view_of(photo, better);
    match(again, views, options, each);
    const bool kept = surest(again) != nullptr;
    if (!kept) views[static_cast<std::size_t>(p)] = coarse;
    photo.limbi.push_back(kept ? better : limbus);
    photo.used = static_cast<int>(photo.limbi.size()) - 1;
    for (Pair& pair : pairs)
      for (const Pair& fresh : kept ? again : own)
        if (pair.first == fresh.first && pair.second == fresh.second) pair = fresh;
    return true;
  }
  views[static_cast<std::size_t>(p)] = before;
  return false;
}

}  // namespace

JointSolution match_photos(std::vector<PhotoOfSeries>& photos, std::vector<Pair>& pairs,
                           const eye::RingMatchOptions& options, const ForAll& each) {
  const int count = static_cast<int>(photos.size());
  Views views(photos.size());
  each(count, [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    if (!photos[k].limbi.empty()) views[k] = view_of(photos[k], photos[k].limbus());
  });
  pairs.clear();
  for (int a = 0; a < count; ++a)
    for (int b = a + 1; b < count; ++b)
      if (!photos[static_cast<std::size_t>(a)].limbi.empty() &&
          !photos[static_cast<std::size_t>(b)].limbi.empty()) {
        Pair pair;
        pair.first = a;
        pair.second = b;
        pairs.push_back(pair);
      }
  match(pairs, views, options, each);
  JointSolution joint = solve_jointly(count, pairs);
  for (int p = 0; p < count; ++p) {
    const auto k = static_cast<std::size_t>(p);
    if (count < 2 || joint.connected[k] || photos[k].limbi.empty()) continue;
    if (fit_with_other_limbus(photos, p, views, pairs, options, each))
      joint = solve_jointly(count, pairs);
  }
  return joint;
}

}  // namespace rhumb::followup
