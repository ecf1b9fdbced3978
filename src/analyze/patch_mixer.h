// Straightened pupils of a recording, with what pictures that are passed over show mixed in.
//
// A picture between two that are looked at goes to both, by its nearness to each in time: little of
// what it shows is lost, at half the readings.
#pragma once

#include <optional>
#include <vector>

#include "lens/patch.h"

namespace rhumb::analyze {

class PatchMixer {
 public:
  // Appends to `store`, one patch for each picture that is looked at.
  explicit PatchMixer(lens::PatchStore& store) : store_(store) {}

  // In the order of the recording. A picture that is passed over has no pose of its own: it lies
  // between those of its neighbours, and is not used where one has none or they are far apart.
  void pass_over(video::Frame frame);
  void look_at(const video::Frame& frame, const eye::EyePose& pose);
  void finish();

 private:
  struct Mixed {
    double time_s = 0.0;
    eye::EyePose pose;
    lens::Patch own;
    cv::Mat luma_sum;  // CV_32FC1, weighted; empty: own alone
    cv::Mat saturation_sum;
    double weight = 1.0;
  };
  static void add(Mixed& to, const lens::Patch& patch, double weight);
  void append(const Mixed& mixed);

  lens::PatchStore& store_;
  std::vector<video::Frame> between_;
  std::optional<Mixed> last_;
};

}  // namespace rhumb::analyze
