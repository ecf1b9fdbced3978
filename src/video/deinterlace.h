// Finding and undoing interlacing. Inside this room only.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>

#include "video/av.h"

namespace rhumb::video {

// How much more a line differs from its neighbours than from the lines two away, as a ratio of
// squared second differences over a spread of lines. Natural pictures lie below 1, white noise at
// 1, two fields of different moments in one picture far above. 0 for pictures too small or of
// formats that it can't read.
double combing(const AVFrame& picture);

// Above this ratio a picture that is not flagged is taken as interlaced: noise alone, over the
// thousands of samples used, stays within a few per cent of 1.
inline constexpr double combing_limit = 1.4;

// Pictures go in and come out in order, one for one, a picture later. Those flagged as interlaced
// keep their first field's lines as they are; the other lines are interpolated at the first field's
// moment (libavfilter's bwdif: spatial and temporal, adaptive). Others pass unchanged.
class Deinterlacer {
 public:
  // Takes a picture; gives the one before, when there is one.
  void push(av::FramePtr picture);
  std::optional<av::FramePtr> pop();
  // No more pictures follow (or the size changes): pop() then gives all that are left.
  void finish();

 private:
  void build(const AVFrame& like);
  void drain();

  av::GraphPtr graph_;
  AVFilterContext* source_ = nullptr;
  AVFilterContext* sink_ = nullptr;
  int width_ = 0;
  int height_ = 0;
  int format_ = -1;
  std::deque<av::FramePtr> ready_;
};

}  // namespace rhumb::video
