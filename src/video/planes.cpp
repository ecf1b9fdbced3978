#include "video/planes.h"

extern "C" {
#include <libavutil/pixdesc.h>
}

#include <algorithm>
#include <new>
#include <stdexcept>
#include <vector>

namespace rhumb::video {
namespace {

struct Size {
  int width = 0;
  int height = 0;
};

int half(int length) { return (length + 1) / 2; }

bool is_view(const AVComponentDescriptor& component) {
  return component.depth == 8 && component.step == 1 && component.shift == 0 &&
         component.offset == 0;
}

cv::Mat view(const AVFrame& picture, const AVComponentDescriptor& component, Size size) {
  return {size.height, size.width, CV_8UC1, picture.data[component.plane],
          static_cast<std::size_t>(picture.linesize[component.plane])};
}

// One row of one component, as numbers of its own depth.
void load_row(const AVFrame& picture, const AVComponentDescriptor& component, int row, int width,
              std::uint16_t* out) {
  const std::uint8_t* from = picture.data[component.plane] +
                             static_cast<std::ptrdiff_t>(row) * picture.linesize[component.plane] +
                             component.offset;
  const auto mask = static_cast<unsigned>((1U << component.depth) - 1U);
  if (component.depth <= 8) {
    for (int x = 0; x < width; ++x) {
      out[x] = static_cast<std::uint16_t>((from[x * component.step] >> component.shift) & mask);
    }
    return;
  }
  if (component.step == 2 &&
      component.shift == 0) {  // the usual planar case, in a loop that vectorises
    const auto* wide = reinterpret_cast<const std::uint16_t*>(from);
    for (int x = 0; x < width; ++x) {
      out[x] = static_cast<std::uint16_t>(wide[x] & mask);
    }
    return;
  }
  for (int x = 0; x < width; ++x) {
    const std::uint8_t* at = from + static_cast<std::ptrdiff_t>(x) * component.step;
    const unsigned value = at[0] | static_cast<unsigned>(at[1]) << 8U;
    out[x] = static_cast<std::uint16_t>((value >> component.shift) & mask);
  }
}

// Luma (or a chroma plane that has the wanted size already), rounded to 8 bits.
cv::Mat copy_plane(const AVFrame& picture, const AVComponentDescriptor& component, Size size) {
  cv::Mat plane(size.height, size.width, CV_8UC1);
  std::vector<std::uint16_t> row(static_cast<std::size_t>(size.width));
  const int drop = std::max(component.depth - 8, 0);
  const unsigned round = drop > 0 ? 1U << (drop - 1) : 0U;
  const int raise = std::max(8 - component.depth, 0);
  for (int y = 0; y < size.height; ++y) {
    load_row(picture, component, y, size.width, row.data());
    std::uint8_t* out = plane.ptr<std::uint8_t>(y);
    for (int x = 0; x < size.width; ++x) {
      const unsigned value = ((static_cast<unsigned>(row[x]) + round) >> drop) << raise;
      out[x] = static_cast<std::uint8_t>(std::min(value, 255U));
    }
  }
  return plane;
}

// Chroma of another layout, averaged (or repeated) to half width and half height.
cv::Mat reduce_chroma(const AVFrame& picture, const AVComponentDescriptor& component, Size coded,
                      int log2_w, int log2_h, Size wanted) {
  cv::Mat plane(wanted.height, wanted.width, CV_8UC1);
  std::vector<std::uint16_t> upper(static_cast<std::size_t>(coded.width));
  std::vector<std::uint16_t> lower(static_cast<std::size_t>(coded.width));
  const unsigned scale = 4U << std::max(component.depth - 8, 0);
  for (int y = 0; y < wanted.height; ++y) {
    const int first = std::min((2 * y) >> log2_h, coded.height - 1);
    const int second = std::min((2 * y + 1) >> log2_h, coded.height - 1);
    load_row(picture, component, first, coded.width, upper.data());
    load_row(picture, component, second, coded.width, lower.data());
    std::uint8_t* out = plane.ptr<std::uint8_t>(y);
    for (int x = 0; x < wanted.width; ++x) {
      const int left = std::min((2 * x) >> log2_w, coded.width - 1);
      const int right = std::min((2 * x + 1) >> log2_w, coded.width - 1);
      const unsigned sum =
          static_cast<unsigned>(upper[left]) + upper[right] + lower[left] + lower[right];
      out[x] = static_cast<std::uint8_t>(std::min((sum + scale / 2U) / scale, 255U));
    }
  }
  return plane;
}

cv::Mat chroma(const AVFrame& picture, const AVPixFmtDescriptor& format, int which, Size wanted) {
  const AVComponentDescriptor& component = format.comp[which];
  if (format.log2_chroma_w == 1 && format.log2_chroma_h == 1) {
    return is_view(component) ? view(picture, component, wanted)
                              : copy_plane(picture, component, wanted);
  }
  const Size coded{AV_CEIL_RSHIFT(picture.width, format.log2_chroma_w),
                   AV_CEIL_RSHIFT(picture.height, format.log2_chroma_h)};
  return reduce_chroma(picture, component, coded, format.log2_chroma_w, format.log2_chroma_h,
                       wanted);
}

}  // namespace

bool PlaneMaker::converts_colour(int pixel_format) {
  const AVPixFmtDescriptor* format = av_pix_fmt_desc_get(static_cast<AVPixelFormat>(pixel_format));
  if (format == nullptr) {
    return true;
  }
  constexpr std::uint64_t odd = AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_RGB |
                                AV_PIX_FMT_FLAG_BITSTREAM | AV_PIX_FMT_FLAG_HWACCEL |
                                AV_PIX_FMT_FLAG_FLOAT | AV_PIX_FMT_FLAG_BAYER;
  const bool wide_swapped = (format->flags & AV_PIX_FMT_FLAG_BE) != 0 && format->comp[0].depth > 8;
  const bool is_xyz = pixel_format == AV_PIX_FMT_XYZ12LE || pixel_format == AV_PIX_FMT_XYZ12BE;
  return (format->flags & odd) != 0 || wide_swapped || is_xyz || format->nb_components == 0 ||
         format->comp[0].depth > 16;
}

Planes PlaneMaker::make(av::FramePtr picture) {
  const bool upside_down = picture->linesize[0] < 0 || picture->linesize[1] < 0;
  if (upside_down || converts_colour(picture->format)) {
    picture = to_yuv420(*picture);
  }
  const AVPixFmtDescriptor& format =
      *av_pix_fmt_desc_get(static_cast<AVPixelFormat>(picture->format));
  const Size full{picture->width, picture->height};
  const Size small{half(full.width), half(full.height)};
  Planes planes;
  planes.luma = is_view(format.comp[0]) ? view(*picture, format.comp[0], full)
                                        : copy_plane(*picture, format.comp[0], full);
  if (format.nb_components >= 3) {
    planes.cb = chroma(*picture, format, 1, small);
    planes.cr = chroma(*picture, format, 2, small);
  } else {
    planes.cb = cv::Mat(small.height, small.width, CV_8UC1, cv::Scalar(128));
    planes.cr = planes.cb.clone();
  }
  planes.owner = std::shared_ptr<const void>(picture.release(), [](const void* frame) {
    av::Deleter{}(static_cast<AVFrame*>(const_cast<void*>(frame)));
  });
  return planes;
}

av::FramePtr PlaneMaker::to_yuv420(const AVFrame& picture) {
  const auto from = static_cast<AVPixelFormat>(picture.format);
  scaler_.reset(sws_getCachedContext(scaler_.release(), picture.width, picture.height, from,
                                     picture.width, picture.height, AV_PIX_FMT_YUV420P,
                                     SWS_AREA | SWS_ACCURATE_RND | SWS_FULL_CHR_H_INP, nullptr,
                                     nullptr, nullptr));
  av::FramePtr out(av_frame_alloc());
  if (out == nullptr) {
    throw std::bad_alloc();
  }
  out->format = AV_PIX_FMT_YUV420P;
  out->width = picture.width;
  out->height = picture.height;
  if (scaler_ == nullptr || av_frame_get_buffer(out.get(), 0) < 0) {
    throw std::runtime_error("no conversion from this pixel format");
  }
  const int* bt709 = sws_getCoefficients(SWS_CS_ITU709);
  sws_setColorspaceDetails(scaler_.get(), bt709,
                           av::number_of(picture.color_range) == AVCOL_RANGE_JPEG ? 1 : 0, bt709, 0,
                           0, 1 << 16, 1 << 16);
  sws_scale(scaler_.get(), picture.data, picture.linesize, 0, picture.height, out->data,
            out->linesize);
  return out;
}

}  // namespace rhumb::video
