// Owners for libav's objects. Inside this room only.
#pragma once

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavfilter/avfilter.h>
#include <libavformat/avformat.h>
#include <libavutil/frame.h>
#include <libswscale/swscale.h>
}

#include <atomic>
#include <cstring>
#include <memory>
#include <string>

namespace rhumb::video::av {

struct Deleter {
  void operator()(AVFrame* p) const { av_frame_free(&p); }
  void operator()(AVPacket* p) const { av_packet_free(&p); }
  void operator()(AVCodecContext* p) const { avcodec_free_context(&p); }
  void operator()(AVFormatContext* p) const { avformat_close_input(&p); }
  void operator()(AVFilterGraph* p) const { avfilter_graph_free(&p); }
  void operator()(SwsContext* p) const { sws_freeContext(p); }
};
using FramePtr = std::unique_ptr<AVFrame, Deleter>;
using PacketPtr = std::unique_ptr<AVPacket, Deleter>;
using CodecPtr = std::unique_ptr<AVCodecContext, Deleter>;
using FormatPtr = std::unique_ptr<AVFormatContext, Deleter>;
using GraphPtr = std::unique_ptr<AVFilterGraph, Deleter>;
using ScalerPtr = std::unique_ptr<SwsContext, Deleter>;

// The number that a file gave for one of libav's enumerations; it need not be one of the
// enumerators, and reading it as one would then be undefined.
template <typename Enum>
int number_of(const Enum& value) {
  static_assert(sizeof(Enum) == sizeof(int));
  int number = 0;
  std::memcpy(&number, &value, sizeof(number));
  return number;
}

// libav logs through one callback for the whole process. This one prints nothing; complaints of a
// codec context at error level are counted in the std::atomic<int> that its `opaque` points to, if
// any.
void listen_quietly();

// libav's words for one of its error codes.
std::string message(int code);

}  // namespace rhumb::video::av
