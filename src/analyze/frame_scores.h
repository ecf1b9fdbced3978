// How the learned marks of a lens score in single frames.
#pragma once

#include "analyze/windows.h"

namespace rhumb::analyze {

// The window that a frame lies in.
std::size_t window_of(const WindowReading& windows, std::size_t frame);

// Pupil mask of a frame: its window's.
const cv::Mat1b& mask_of(const WindowReading& windows, std::size_t frame);

// The lens centre between the middles of windows whose path has the same lens; else the typical
// one.
Eigen::Vector2d centre_at(const WindowReading& windows, std::size_t frame, timeline::Phase phase,
                          const MarkSignature& signature);

struct FrameScores {
  const lens::PatchStore& patches;
  const WindowReading& windows;

  // Of a frame's flattened contrast, over all axes and the centres near the windows' own. An end
  // that scores `crossing` is as likely a mark as none.
  lens::AxisScores scores(const lens::ContrastMap& map, std::size_t frame, timeline::Phase phase,
                          const MarkSignature& signature, float crossing) const;
};

struct Calibration {
  float crossing = 3.5F;
  float chance = 2.0F;
};

// How the lens's ends score in single frames, and how chance does.
Calibration calibrate(const FrameScores& reader, timeline::Phase phase,
                      const MarkSignature& signature, int threads);

}  // namespace rhumb::analyze
