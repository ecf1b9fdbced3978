#include "analyze/patch_mixer.h"

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

// At most this many pictures wait, of more (beyond 400 a second, or repeated stamps) the first.
constexpr std::size_t most_between = 8;
// Half way between poses further apart than this a jerk may have left the eye at either: a degree,
// and the width of a mark (0.1 mm, a fiftieth of the limbal radius).
constexpr double far_turn_rad = 0.0175;
constexpr double far_shift = 0.02;

bool are_near(const eye::EyePose& a, const eye::EyePose& b) {
  if (!a.found || !b.found) return false;
  const double radius_px = std::sqrt(std::abs(a.picture_from_atlas.determinant()));
  return std::abs(angle::wrap_rotation(a.rotation_rad - b.rotation_rad)) < far_turn_rad &&
         (a.offset_px - b.offset_px).norm() < far_shift * radius_px;
}

eye::EyePose between(const eye::EyePose& a, const eye::EyePose& b, double share) {
  eye::EyePose pose = a;
  pose.picture_from_atlas += share * (b.picture_from_atlas - a.picture_from_atlas);
  pose.offset_px += share * (b.offset_px - a.offset_px);
  return pose;
}

}  // namespace

void PatchMixer::add(Mixed& to, const lens::Patch& patch, double weight) {
  if (to.luma_sum.empty()) {
    to.own.luma.convertTo(to.luma_sum, CV_32F);
    to.own.saturation.convertTo(to.saturation_sum, CV_32F);
  }
  cv::accumulateWeighted(patch.luma, to.luma_sum, weight / (to.weight + weight));
  cv::accumulateWeighted(patch.saturation, to.saturation_sum, weight / (to.weight + weight));
  to.weight += weight;
}

void PatchMixer::append(const Mixed& mixed) {
  lens::Patch patch = mixed.own;
  if (!mixed.luma_sum.empty()) {
    patch = {};
    mixed.luma_sum.convertTo(patch.luma, CV_8U);
    mixed.saturation_sum.convertTo(patch.saturation, CV_8U);
  }
  store_.append(patch);
}

void PatchMixer::pass_over(video::Frame frame) {
  if (between_.size() < most_between) between_.push_back(std::move(frame));
}

void PatchMixer::look_at(const video::Frame& frame, const eye::EyePose& pose) {
  Mixed now{frame.time_s, pose, {}, {}, {}, 1.0};
  if (pose.found) now.own = lens::straighten(frame, pose, store_.geometry());
  if (last_ && are_near(last_->pose, pose)) {
    const double gap_s = now.time_s - last_->time_s;
    for (const video::Frame& passed : between_) {
      const double share = gap_s > 0.0 ? (passed.time_s - last_->time_s) / gap_s : 0.5;
      const lens::Patch patch =
          lens::straighten(passed, between(last_->pose, pose, share), store_.geometry());
      add(*last_, patch, 1.0 - share);
      add(now, patch, share);
    }
  }
  between_.clear();
  if (last_) append(*last_);
  last_ = std::move(now);
}

void PatchMixer::finish() {
  if (last_) append(*last_);
  last_.reset();
  between_.clear();
}

}  // namespace rhumb::analyze
