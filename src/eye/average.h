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

using LevelShapes = std::array<RingShape, ring_levels>;

// The shapes of the three levels.
LevelShapes level_shapes(const AtlasOptions& options);

// Robust average of the used samples' rings under their poses, with its scatter and gradients.
RingTemplate average_template(std::span<const AtlasSample> samples, const LevelShapes& shapes,
                              const Eigen::Matrix2d& picture_from_upright);

// Median of a plane's grey levels over the used samples at each point of the fine ring; `chroma`
// planes are half the picture's size. seen (may be null): share of the used samples that saw the
// point.
cv::Mat average_plane(std::span<const AtlasSample> samples, const RingShape& shape,
                      cv::Mat video::Frame::*plane, bool chroma, cv::Mat* seen);

// Corrects the depth of the rows: how much nearer to the observer each lies than its shape says
// follows from how the used samples' residuals go with their parallax. The limbus stays at depth 0.
// Eyes differ in the depth of the iris, in the refraction that lifts it, and in the limbal
// shoulder.
void learn_depth(std::span<const AtlasSample> samples, const RingTemplate& ring,
                 LevelShapes& shapes);

}  // namespace rhumb::eye
