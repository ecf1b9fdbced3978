// Averages registered frames into the atlas.
#pragma once

#include <span>
#include <vector>

#include "eye/atlas.h"
#include "eye/register.h"

namespace rhumb::eye {

// One sample frame on its way into the atlas.
struct AtlasSample {
  const video::Frame* frame = nullptr;
  bool limbus_found = false;
  bool used = false;
  Alignment alignment;
};

// The shapes of the three levels.
std::array<RingShape, ring_levels> level_shapes(const AtlasOptions& options);

// Robust average of the used samples' rings under their poses, with its scatter and gradients.
// `upright` is kept.
RingTemplate average_template(std::span<const AtlasSample> samples, const AtlasOptions& options,
                              const Eigen::Matrix2d& picture_from_upright);

// Median of a plane's grey levels over the used samples at each point of the fine ring; `chroma`
// planes are half the picture's size. seen (may be null): share of the used samples that saw the
// point.
cv::Mat average_plane(std::span<const AtlasSample> samples, const RingShape& shape,
                      cv::Mat video::Frame::*plane, bool chroma, cv::Mat* seen);

// How much deeper (limbal radii towards the observer) each row of the fine ring lies than its shape
// says, from how the used samples' residuals go with their parallax; one value a row, 0 where
// nothing tells.
std::vector<double> depth_errors(std::span<const AtlasSample> samples, const RingTemplate& ring);

}  // namespace rhumb::eye
