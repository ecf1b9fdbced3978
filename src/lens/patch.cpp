#include "lens/patch.h"

#include <unistd.h>

#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

namespace rhumb::lens {
namespace {

// Affine map from patch pixels (oversampled) to pixels of a plane that is `plane_scale` times the
// picture.
cv::Matx23d plane_from_patch(const eye::EyePose& pose, double patch_scale, double patch_centre,
                             double plane_scale) {
  const Eigen::Matrix2d& a = pose.picture_from_atlas;
  cv::Matx23d map;
  for (int row = 0; row < 2; ++row) {
    const double ax = plane_scale * a(row, 0) / patch_scale;
    const double ay = -plane_scale * a(row, 1) / patch_scale;
    // Chroma samples sit in the middle of their luma pixels: (x + 0.5) * s - 0.5.
    const double origin = (pose.offset_px(row) + 0.5) * plane_scale - 0.5;
    map(row, 0) = ax;
    map(row, 1) = ay;
    map(row, 2) = origin - patch_centre * (ax + ay);
  }
  return map;
}

cv::Mat warp(const cv::Mat& plane, const cv::Matx23d& map, int size, int border) {
  cv::Mat out;
  cv::warpAffine(plane, out, map, cv::Size(size, size), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                 cv::BORDER_CONSTANT, cv::Scalar(border));
  return out;
}

cv::Mat saturation_of(const cv::Mat& cb, const cv::Mat& cr) {
  cv::Mat out(cb.size(), CV_8UC1);
  for (int row = 0; row < cb.rows; ++row) {
    const auto* b = cb.ptr<uchar>(row);
    const auto* r = cr.ptr<uchar>(row);
    auto* s = out.ptr<uchar>(row);
    for (int col = 0; col < cb.cols; ++col) {
      const auto db = static_cast<float>(b[col] - 128);
      const auto dr = static_cast<float>(r[col] - 128);
      // Times 1.4, so that the strongest chroma just fits into eight bits.
      s[col] = cv::saturate_cast<uchar>(1.4F * std::sqrt(db * db + dr * dr));
    }
  }
  return out;
}

}  // namespace

Patch straighten(const video::Frame& frame, const eye::EyePose& pose,
                 const PatchGeometry& geometry) {
  constexpr int oversampling = 2;
  const int fine_size = oversampling * geometry.size_px;
  const double fine_scale = oversampling * geometry.pixels_per_radius;
  const cv::Mat fine = warp(
      frame.luma, plane_from_patch(pose, fine_scale, 0.5 * (fine_size - 1), 1.0), fine_size, 0);
  Patch patch;
  const cv::Size size(geometry.size_px, geometry.size_px);
  cv::resize(fine, patch.luma, size, 0, 0, cv::INTER_AREA);
  if (frame.cb.empty()) {
    patch.saturation = cv::Mat::zeros(size, CV_8UC1);
  } else {
    const auto map = plane_from_patch(pose, geometry.pixels_per_radius, geometry.centre_px(), 0.5);
    patch.saturation = saturation_of(warp(frame.cb, map, geometry.size_px, 128),
                                     warp(frame.cr, map, geometry.size_px, 128));
  }
  return patch;
}

PatchStore::PatchStore(const PatchGeometry& geometry, std::size_t memory_limit_bytes)
    : geometry_(geometry),
      in_memory_limit_(memory_limit_bytes /
                       static_cast<std::size_t>(2 * geometry.size_px * geometry.size_px)) {}

void PatchStore::append(const Patch& patch) {
  if (patch.empty()) {
    slots_.push_back(-1);
    return;
  }
  cv::Mat both;
  cv::vconcat(patch.luma, patch.saturation, both);
  if (static_cast<std::size_t>(stored_) < in_memory_limit_) {
    memory_.push_back(both);
  } else {
    if (!file_) file_.reset(std::tmpfile());
    if (!file_ || std::fseek(file_.get(), 0, SEEK_END) != 0 ||
        std::fwrite(both.data, both.total(), 1, file_.get()) != 1 ||
        std::fflush(file_.get()) != 0) {
      throw std::runtime_error(
          "temporary file: can't be written; free space in the temporary folder");
    }
  }
  slots_.push_back(stored_++);
}

Patch PatchStore::at(std::size_t frame) const {
  const std::int64_t slot = slots_.at(frame);
  if (slot < 0) return {};
  cv::Mat both;
  if (static_cast<std::size_t>(slot) < memory_.size()) {
    both = memory_[static_cast<std::size_t>(slot)];
  } else {
    both.create(2 * geometry_.size_px, geometry_.size_px, CV_8UC1);
    const auto position = (slot - static_cast<std::int64_t>(memory_.size())) *
                          static_cast<std::int64_t>(both.total());
    if (pread(fileno(file_.get()), both.data, both.total(), position) !=
        static_cast<ssize_t>(both.total())) {
      throw std::runtime_error("temporary file: can't be read back");
    }
  }
  return {both.rowRange(0, geometry_.size_px),
          both.rowRange(geometry_.size_px, 2 * geometry_.size_px)};
}

}  // namespace rhumb::lens
