// The pose of the eye in every frame, each registered to the atlas; time only supplies the starting
// value.
#pragma once

#include <memory>

#include "eye/atlas.h"

namespace rhumb::eye {

struct TrackerOptions {
  double least_ring_share = 0.2;  // below it the pose is not reported
  double largest_rotation_se_rad =
      0.004;                 // 0.23 degrees; a pose that is vaguer than this is not reported
  int search_every = 2;      // frames between searches of the whole picture while the eye is lost
  LimbusFinder find_limbus;  // empty: eye::find_limbus
  // For measuring what the two buy: the affine part of a pose left out, and each frame registered
  // to the one before instead of to the atlas.
  bool only_similarity = false;
  bool chained = false;
};

// Keeps the last pose as the starting value and buffers that are reused; not thread safe. Frames
// must come in order of time; a tracker of its own is needed for each recording.
class EyeTracker {
 public:
  explicit EyeTracker(const EyeAtlas& atlas, TrackerOptions options = {});
  ~EyeTracker();
  EyeTracker(EyeTracker&&) noexcept;
  EyeTracker& operator=(EyeTracker&&) noexcept;

  // The pose in this frame; `found` is false when too little of the ring agrees with the atlas.
  EyePose track(const video::Frame& frame);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace rhumb::eye
