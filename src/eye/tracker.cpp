#include "eye/tracker.h"

#include <cmath>

#include "eye/correlate.h"
#include "eye/limbus.h"
#include "eye/register.h"

namespace rhumb::eye {

namespace {

constexpr int search_level = 1;
// Following is given up for a search when less than this share of the ring agreed in the frames
// before: a sudden loss against the eye's own usual share is a jump, not a poor frame.
constexpr double sudden_loss = 0.6;
// What stands still (lids, wires, the fall of light) agrees with the atlas at a wrong rotation too;
// fine detail does not. Of the eye's usual share of detail, defocus and dim light leave a fifth and
// more, wrong rotations a tenth at most: on recordings made for tuning. Below half of it other
// rotations are tried.
constexpr double doubtful_detail = 0.15;
constexpr double lost_detail = 0.5;

}  // namespace

struct EyeTracker::State {
  std::shared_ptr<const RingTemplate> ring;
  std::shared_ptr<RingTemplate> chain;  // the frame before, while frames are chained
  TrackerOptions options;
  Aligner aligner;
  RingSpectrum reference;
  double outer_radius = 1.6;
  bool following = false;
  RingPose last;
  double usual_share = 0.0;
  double usual_detail = 0.0;
  int lost_frames = 0;
  std::vector<float> contrast, mask, curve;

  // A good fit by what this eye usually shows.
  bool believed(const Alignment& fit) const;
  bool suddenly_lost(const Alignment& fit) const {
    return fit.ring_share < sudden_loss * usual_share ||
           fit.detail_share < lost_detail * usual_detail;
  }
  void found_at(const Alignment& fit);
  Alignment follow(const video::Frame& frame, const RingPose& start);
  Alignment turn_about(const video::Frame& frame, const RingPose& start);
  Alignment search(const video::Frame& frame);
  void chain_to(const video::Frame& frame, const RingPose& pose);
};

bool EyeTracker::State::believed(const Alignment& fit) const {
  return fit.ring_share >= options.least_ring_share && fit.agreement > 0.2 &&
         fit.covariance(3, 3) > 0.0 &&
         std::sqrt(fit.covariance(3, 3)) <= options.largest_rotation_se_rad &&
         fit.detail_share >= doubtful_detail * usual_detail;
}

void EyeTracker::State::found_at(const Alignment& fit) {
  const auto approach = [](double& usual, double now) {
    usual += (usual == 0.0 ? 1.0 : 0.1) * (now - usual);
  };
  following = true;
  last = fit.pose;
  approach(usual_share, fit.ring_share);
  // A stretch out of focus does not make detail less usual.
  if (fit.detail_share >= lost_detail * usual_detail) approach(usual_detail, fit.detail_share);
  lost_frames = 0;
}

Alignment EyeTracker::State::follow(const video::Frame& frame, const RingPose& start) {
  aligner.look_at(frame.luma, start, outer_radius);
  return aligner.align(*ring, start, AlignOptions{});
}

// Tries the rotations that correlation offers, about a pose whose centre and scale are believed.
Alignment EyeTracker::State::turn_about(const video::Frame& frame, const RingPose& start) {
  aligner.look_at(frame.luma, start, outer_radius);
  aligner.contrast(ring->level[search_level].shape, search_level, start, contrast, mask);
  reference.correlate(RingSpectrum(ring->level[search_level].shape, contrast), curve);
  Alignment best;
  for (const RotationPeak& peak : rotation_peaks(curve, 3)) {
    RingPose turned = start;
    PoseParts parts = parts_of(ring->picture_from_upright, start.linear);
    parts.rotation_rad += peak.rotation_rad;
    turned.linear = linear_of(ring->picture_from_upright, parts);
    const Alignment got = aligner.align(*ring, turned, AlignOptions{}, search_level);
    if (got.quality() > best.quality()) best = got;
  }
  return best.quality() > 0.0 ? aligner.align(*ring, best.pose, AlignOptions{}, 0) : best;
}

Alignment EyeTracker::State::search(const video::Frame& frame) {
  const auto limbus = options.find_limbus
                          ? options.find_limbus(frame)
                          : find_limbus(frame.luma, frame.cb, frame.cr, LimbusOptions{});
  if (!limbus) return {};
  RingPose start;
  PoseParts parts;
  parts.scale = limbus->mean_radius_px();
  start.linear = linear_of(ring->picture_from_upright, parts);
  start.offset_px = limbus->centre_px;
  return turn_about(frame, start);
}

// What this frame shows takes the atlas's place where it shows anything.
void EyeTracker::State::chain_to(const video::Frame& frame, const RingPose& pose) {
  aligner.look_at(frame.luma, pose, outer_radius);
  for (int level = 0; level < ring_levels; ++level) {
    TemplateLevel& own = chain->level[static_cast<std::size_t>(level)];
    aligner.contrast(own.shape, level, pose, contrast, mask);
    for (std::size_t k = 0; k < own.value.size(); ++k) {
      if (mask[k] > 0.0F) own.value[k] = contrast[k];
    }
    RingTemplate::differentiate(own);
  }
}

EyeTracker::EyeTracker(const EyeAtlas& atlas, TrackerOptions options)
    : state_(std::make_unique<State>()) {
  state_->ring = atlas.ring;
  state_->options = std::move(options);
  if (state_->options.chained) {
    state_->chain = std::make_shared<RingTemplate>(*atlas.ring);
    state_->ring = state_->chain;
  }
  state_->outer_radius = atlas.radii.back();
  const TemplateLevel& level = atlas.ring->level[search_level];
  state_->reference = RingSpectrum(level.shape, level.value);
}

EyeTracker::~EyeTracker() = default;
EyeTracker::EyeTracker(EyeTracker&&) noexcept = default;
EyeTracker& EyeTracker::operator=(EyeTracker&&) noexcept = default;

EyePose EyeTracker::track(const video::Frame& frame) {
  State& s = *state_;
  Alignment best;
  if (s.following) {
    best = s.follow(frame, s.last);
    if (s.suddenly_lost(best)) {
      const Alignment turned = s.turn_about(frame, s.last);
      if (turned.quality() > best.quality()) best = turned;
    }
  }
  const bool poor = best.ring_share < sudden_loss * s.usual_share || !s.believed(best);
  if (poor && s.lost_frames % s.options.search_every == 0) {
    const Alignment found = s.search(frame);
    if (found.quality() > best.quality()) best = found;
  }
  if (s.options.only_similarity) {
    PoseParts parts = parts_of(s.ring->picture_from_upright, best.pose.linear);
    parts.shear.setZero();
    best.pose.linear = linear_of(s.ring->picture_from_upright, parts);
    best.pose.parallax.setZero();
  }
  EyePose pose = eye_pose_of(best, s.ring->picture_from_upright);
  pose.found = s.believed(best);
  if (s.options.chained && pose.found) s.chain_to(frame, best.pose);
  if (pose.found) {
    s.found_at(best);
  } else {
    ++s.lost_frames;
    s.usual_share *= 0.98;
  }
  return pose;
}

}  // namespace rhumb::eye
