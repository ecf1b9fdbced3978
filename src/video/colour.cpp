#include "video/colour.h"

#include <new>

#include "video/av.h"

namespace rhumb::video {
namespace {

int coefficients_of(Matrix matrix) {
  switch (matrix) {
    case Matrix::Bt601:
      return SWS_CS_ITU601;
    case Matrix::Bt2020:
      return SWS_CS_BT2020;
    case Matrix::Bt709:
      break;
  }
  return SWS_CS_ITU709;
}

}  // namespace

struct ColourMaker::Inside {
  Matrix matrix = Matrix::Bt709;
  bool full_range = false;
  av::ScalerPtr scaler;
  cv::Size size;
};

ColourMaker::ColourMaker(const StreamFacts& facts) : inside_(std::make_unique<Inside>()) {
  inside_->matrix = facts.matrix;
  inside_->full_range = facts.full_range;
}
ColourMaker::~ColourMaker() = default;

cv::Mat ColourMaker::bgr(const Frame& frame) {
  Inside& in = *inside_;
  const cv::Size size = frame.luma.size();
  if (in.scaler == nullptr || in.size != size) {
    in.size = size;
    in.scaler.reset(sws_getContext(
        size.width, size.height, AV_PIX_FMT_YUV420P, size.width, size.height, AV_PIX_FMT_BGR24,
        SWS_BILINEAR | SWS_ACCURATE_RND | SWS_BITEXACT | SWS_FULL_CHR_H_INT, nullptr, nullptr,
        nullptr));
    if (in.scaler == nullptr) {
      throw std::bad_alloc();
    }
    const int* from = sws_getCoefficients(coefficients_of(in.matrix));
    const int* to = sws_getCoefficients(SWS_CS_ITU709);
    sws_setColorspaceDetails(in.scaler.get(), from, in.full_range ? 1 : 0, to, 1, 0, 1 << 16,
                             1 << 16);
  }
  cv::Mat colour(size, CV_8UC3);
  const std::uint8_t* planes[4] = {frame.luma.ptr(), frame.cb.ptr(), frame.cr.ptr(), nullptr};
  const int steps[4] = {static_cast<int>(frame.luma.step), static_cast<int>(frame.cb.step),
                        static_cast<int>(frame.cr.step), 0};
  std::uint8_t* out[4] = {colour.ptr(), nullptr, nullptr, nullptr};
  const int out_steps[4] = {static_cast<int>(colour.step), 0, 0, 0};
  sws_scale(in.scaler.get(), planes, steps, 0, size.height, out, out_steps);
  return colour;
}

}  // namespace rhumb::video
