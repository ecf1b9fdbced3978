#include "video/deinterlace.h"

extern "C" {
#include <libavfilter/buffersink.h>
#include <libavfilter/buffersrc.h>
#include <libavutil/pixdesc.h>
}

#include <fmt/format.h>

#include <new>
#include <stdexcept>

namespace rhumb::video {
namespace {

constexpr int row_step = 13;  // prime to the 8 and 16 line blocks of codecs
constexpr int least_height = 48;
constexpr int least_width = 16;

template <typename Pixel>
double combing_of(const AVFrame& picture) {
  double near_energy = 0.0;
  double far_energy = 0.0;
  const auto row = [&](int y) {
    return reinterpret_cast<const Pixel*>(picture.data[0] +
                                          static_cast<std::ptrdiff_t>(y) * picture.linesize[0]);
  };
  for (int y = 2; y + 2 < picture.height; y += row_step) {
    const Pixel* a = row(y - 2);
    const Pixel* b = row(y - 1);
    const Pixel* c = row(y);
    const Pixel* d = row(y + 1);
    const Pixel* e = row(y + 2);
    std::int64_t near_sum = 0;
    std::int64_t far_sum = 0;
    for (int x = 0; x < picture.width; ++x) {
      const int near_difference = 2 * c[x] - b[x] - d[x];
      const int far_difference = 2 * c[x] - a[x] - e[x];
      near_sum += static_cast<std::int64_t>(near_difference) * near_difference;
      far_sum += static_cast<std::int64_t>(far_difference) * far_difference;
    }
    near_energy += static_cast<double>(near_sum);
    far_energy += static_cast<double>(far_sum);
  }
  return far_energy > 0.0 ? near_energy / far_energy : 0.0;
}

void check(int code, const char* what) {
  if (code < 0) {
    throw std::runtime_error(fmt::format("{}: {}", what, av::message(code)));
  }
}

}  // namespace

double combing(const AVFrame& picture) {
  const AVPixFmtDescriptor* format =
      av_pix_fmt_desc_get(static_cast<AVPixelFormat>(picture.format));
  if (format == nullptr || picture.height < least_height || picture.width < least_width ||
      (format->flags & (AV_PIX_FMT_FLAG_RGB | AV_PIX_FMT_FLAG_PAL | AV_PIX_FMT_FLAG_BE |
                        AV_PIX_FMT_FLAG_HWACCEL | AV_PIX_FMT_FLAG_BITSTREAM)) != 0) {
    return 0.0;
  }
  const AVComponentDescriptor& luma = format->comp[0];
  if (luma.step == 1 && luma.depth == 8) {
    return combing_of<std::uint8_t>(picture);
  }
  return luma.step == 2 && luma.depth > 8 ? combing_of<std::uint16_t>(picture) : 0.0;
}

void Deinterlacer::build(const AVFrame& like) {
  graph_.reset(avfilter_graph_alloc());
  if (graph_ == nullptr) {
    throw std::bad_alloc();
  }
  graph_->nb_threads = 1;
  const std::string shape =
      fmt::format("video_size={}x{}:pix_fmt={}:time_base=1/1000:pixel_aspect=1/1", like.width,
                  like.height, like.format);
  AVFilterContext* filter = nullptr;
  check(avfilter_graph_create_filter(&source_, avfilter_get_by_name("buffer"), "in", shape.c_str(),
                                     nullptr, graph_.get()),
        "de-interlacing input");
  check(avfilter_graph_create_filter(&filter, avfilter_get_by_name("bwdif"), "fields",
                                     "mode=send_frame:parity=auto:deint=interlaced", nullptr,
                                     graph_.get()),
        "de-interlacing");
  check(avfilter_graph_create_filter(&sink_, avfilter_get_by_name("buffersink"), "out", nullptr,
                                     nullptr, graph_.get()),
        "de-interlacing output");
  check(avfilter_link(source_, 0, filter, 0), "de-interlacing");
  check(avfilter_link(filter, 0, sink_, 0), "de-interlacing");
  check(avfilter_graph_config(graph_.get(), nullptr), "de-interlacing");
  width_ = like.width;
  height_ = like.height;
  format_ = like.format;
}

void Deinterlacer::push(av::FramePtr picture) {
  if (graph_ != nullptr &&
      (picture->width != width_ || picture->height != height_ || picture->format != format_)) {
    finish();
  }
  if (picture->width < least_width || picture->height < least_height) {
    ready_.push_back(std::move(picture));
    return;
  }
  if (graph_ == nullptr) {
    build(*picture);
  }
  check(av_buffersrc_add_frame_flags(source_, picture.get(), 0), "de-interlacing");
  drain();
}

void Deinterlacer::drain() {
  while (true) {
    av::FramePtr out(av_frame_alloc());
    if (out == nullptr) {
      throw std::bad_alloc();
    }
    const int got = av_buffersink_get_frame(sink_, out.get());
    if (got == AVERROR(EAGAIN) || got == AVERROR_EOF) {
      return;
    }
    check(got, "de-interlacing");
    ready_.push_back(std::move(out));
  }
}

std::optional<av::FramePtr> Deinterlacer::pop() {
  if (ready_.empty()) {
    return std::nullopt;
  }
  av::FramePtr first = std::move(ready_.front());
  ready_.pop_front();
  return first;
}

void Deinterlacer::finish() {
  if (graph_ == nullptr) {
    return;
  }
  check(av_buffersrc_add_frame_flags(source_, nullptr, 0), "de-interlacing");
  drain();
  graph_.reset();
  source_ = nullptr;
  sink_ = nullptr;
}

}  // namespace rhumb::video
