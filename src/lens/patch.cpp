#include "lens/patch.h"

#include <cstring>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

namespace rhumb::lens {

cv::Mat straighten(const cv::Mat& luma, const eye::EyePose& pose, const PatchGeometry& geometry) {
  constexpr int oversampling = 2;
  const int fine_size = oversampling * geometry.size_px;
  const double fine_scale = oversampling * geometry.pixels_per_radius;
  const double fine_centre = 0.5 * (fine_size - 1);
  // picture = offset + A * ((i - c) / s, -(j - c) / s)
  const Eigen::Matrix2d& a = pose.picture_from_atlas;
  cv::Matx23d picture_from_patch;
  for (int row = 0; row < 2; ++row) {
    const double ax = a(row, 0) / fine_scale;
    const double ay = -a(row, 1) / fine_scale;
    picture_from_patch(row, 0) = ax;
    picture_from_patch(row, 1) = ay;
    picture_from_patch(row, 2) = pose.offset_px(row) - fine_centre * (ax + ay);
  }
  cv::Mat fine;
  cv::warpAffine(luma, fine, picture_from_patch, cv::Size(fine_size, fine_size),
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::Mat patch;
  cv::resize(fine, patch, cv::Size(geometry.size_px, geometry.size_px), 0, 0, cv::INTER_AREA);
  return patch;
}

PatchStore::PatchStore(const PatchGeometry& geometry, std::size_t memory_limit_bytes)
    : geometry_(geometry),
      in_memory_limit_(memory_limit_bytes /
                       static_cast<std::size_t>(geometry.size_px * geometry.size_px)) {}

void PatchStore::append(const cv::Mat& patch) {
  if (patch.empty()) {
    slots_.push_back(-1);
    return;
  }
  CV_Assert(patch.type() == CV_8UC1 && patch.rows == geometry_.size_px &&
            patch.cols == geometry_.size_px && patch.isContinuous());
  if (static_cast<std::size_t>(stored_) < in_memory_limit_) {
    memory_.push_back(patch.clone());
  } else {
    if (!file_) file_.reset(std::tmpfile());
    if (!file_ || std::fseek(file_.get(), 0, SEEK_END) != 0 ||
        std::fwrite(patch.data, patch.total(), 1, file_.get()) != 1) {
      throw std::runtime_error("temporary file: can't be written; free space in the temporary folder");
    }
  }
  slots_.push_back(stored_++);
}

cv::Mat PatchStore::at(std::size_t frame) const {
  const std::int64_t slot = slots_.at(frame);
  if (slot < 0) return {};
  if (static_cast<std::size_t>(slot) < memory_.size()) return memory_[static_cast<std::size_t>(slot)];
  cv::Mat patch(geometry_.size_px, geometry_.size_px, CV_8UC1);
  const auto position = (slot - static_cast<std::int64_t>(memory_.size())) *
                        static_cast<std::int64_t>(patch.total());
  if (std::fseek(file_.get(), static_cast<long>(position), SEEK_SET) != 0 ||
      std::fread(patch.data, patch.total(), 1, file_.get()) != 1) {
    throw std::runtime_error("temporary file: can't be read back");
  }
  return patch;
}

}  // namespace rhumb::lens
