// The operation as visit zero of a follow-up series: its last clear frames and their axis.
#pragma once

#include <filesystem>
#include <functional>
#include <opencv2/core.hpp>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

#include "eye/pose.h"
#include "outcome/outcome.h"

namespace rhumb::followup {

// A frame of the recording as a photograph: forehead on top, not mirrored.
struct OperationFrame {
  cv::Mat bgr;  // CV_8UC3
  double time_s = 0.0;
  eye::LimbusEllipse limbus;   // in `bgr`
  double direction_rad = 0.0;  // of the lens marks in `bgr`, counter-clockwise from its right
  double se_rad = 0.0;         // of that direction, without that of the zero meridian
  double axis_rad = 0.0;       // the same axis in the eye's meridians
};

struct Operation {
  std::string date;                    // ISO 8601 or empty
  std::vector<OperationFrame> frames;  // in order of time; empty where nothing can be used
  bool meridians_known = false;        // axis_rad counts from the eye's horizontal
  double zero_se_rad = 0.0;            // of the zero meridian
  std::string remark;                  // one plain sentence: what was used, or why nothing
};

struct OperationOptions {
  int threads = 1;
  int most_frames = 3;                         // one is best; more average the registration's error
  double least_ring_share = 0.3;               // of the limbal ring, agreeing with the atlas
  std::function<void(double share)> progress;  // may be empty
  std::stop_token cancel;
};

// Analyses the operation of a case file and takes the clearest frames of the last stretch in which
// the lens lies still: one from each of `most_frames` equal parts of it. UserError for a case that
// can't be used, or that is of the other eye; Interrupted when cancelled.
Operation read_operation(const std::filesystem::path& case_file, casefile::Eye eye,
                         const OperationOptions& options);

// The part of it that needs no recording: which rows of the timeline. For tests.
std::vector<std::size_t> clearest_rows(const outcome::CaseOutcome& outcome,
                                       const OperationOptions& options);

// The picture with the forehead on top and not mirrored.
cv::Mat upright_picture(const cv::Mat& bgr, casefile::Superior superior, bool mirrored);

// Where a point of the recorded picture of this size lies in upright_picture().
Eigen::Vector2d upright_point(const Eigen::Vector2d& picture_px, cv::Size recorded,
                              casefile::Superior superior, bool mirrored);

}  // namespace rhumb::followup
