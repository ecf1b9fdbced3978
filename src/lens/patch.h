// The pupil straightened into the eye's frame, and a store for all of a recording's.
//
// A patch is square. Its pixel (column i, row j) shows the atlas point
//   x = (i - (size-1)/2) / pixels_per_radius,  y = -(j - (size-1)/2) / pixels_per_radius:
// meridians run counter-clockwise as displayed, one unit is a limbal radius.
#pragma once

#include <Eigen/Core>
#include <cstdio>
#include <memory>
#include <opencv2/core.hpp>
#include <vector>

#include "eye/pose.h"
#include "video/frame.h"

namespace rhumb::lens {

struct PatchGeometry {
  int size_px = 176;
  double pixels_per_radius =
      128.0;  // a mark of 0.1 mm spans 2 pixels; 176 pixels reach 0.69 limbal radii

  double centre_px() const { return 0.5 * (size_px - 1); }
  Eigen::Vector2d pixel_from(const Eigen::Vector2d& atlas) const {
    return {centre_px() + pixels_per_radius * atlas.x(),
            centre_px() - pixels_per_radius * atlas.y()};
  }
};

// luma and saturation: CV_8UC1, size_px square; saturation is the length of the chroma vector, 0
// for grey. Grey marks on a red glow may have the glow's own luma and show in the saturation alone.
struct Patch {
  cv::Mat luma;
  cv::Mat saturation;
  bool empty() const { return luma.empty(); }
};

// The patch of one picture. Points outside the picture become 0 in luma. Oversampled twice and
// averaged, so that a limbus larger than the patch does not alias.
Patch straighten(const video::Frame& frame, const eye::EyePose& pose,
                 const PatchGeometry& geometry);

// Patches by frame number, in memory up to a limit and in an unnamed temporary file beyond it:
// analysing twenty minutes twice over must not need twenty minutes of memory.
class PatchStore {
 public:
  PatchStore(const PatchGeometry& geometry, std::size_t memory_limit_bytes);

  // Appends the next patch; an empty one says that this frame has none. Throws std::runtime_error
  // when the temporary file can't be written.
  void append(const Patch& patch);
  // The patch of a frame, or an empty one; from several threads at once once all are appended.
  // Throws std::runtime_error when the file can't be read.
  Patch at(std::size_t frame) const;
  bool has(std::size_t frame) const { return slots_.at(frame) >= 0; }
  std::size_t size() const { return slots_.size(); }
  const PatchGeometry& geometry() const { return geometry_; }

 private:
  struct CloseFile {
    void operator()(std::FILE* file) const { std::fclose(file); }
  };
  PatchGeometry geometry_;
  std::size_t in_memory_limit_ = 0;  // patches
  std::vector<std::int64_t> slots_;  // -1: none; else the number of the stored patch
  std::vector<cv::Mat> memory_;      // luma above saturation, one Mat a patch
  std::int64_t stored_ = 0;
  std::unique_ptr<std::FILE, CloseFile> file_;
};

}  // namespace rhumb::lens
