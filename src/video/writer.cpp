#include "video/writer.h"

#include <fmt/format.h>

extern "C" {
#include <libavutil/display.h>
#include <libavutil/opt.h>
}

#include <algorithm>
#include <cmath>
#include <new>
#include <stdexcept>

#include "files/user_error.h"
#include "video/av.h"

namespace rhumb::video {
namespace {

constexpr int ticks_per_s = 90000;  // of MPEG systems (ISO/IEC 13818-1); divides all common rates

struct OutputDeleter {
  void operator()(AVFormatContext* format) const {
    if (format->pb != nullptr) {
      avio_closep(&format->pb);
    }
    avformat_free_context(format);
  }
};

void check_options(const WriterOptions& options) {
  const int rows = options.interlaced ? 4 : 2;
  if (options.width < 16 || options.height < 16 || options.width % 2 != 0 ||
      options.height % rows != 0) {
    throw std::invalid_argument(
        fmt::format("a video of {} x {} pixels can't be coded", options.width, options.height));
  }
  if (!(options.rate_hz > 0.0) || options.rotation_deg % 90 != 0) {
    throw std::invalid_argument("rate above 0 and rotation in quarter turns expected");
  }
}

}  // namespace

struct Writer::Inside {
  Inside(const std::filesystem::path& file, const WriterOptions& options);

  void open_encoder();
  void open_file();
  void prepare_frame();
  void convert(const cv::Mat& bgr);
  void encode(AVFrame* picture);
  void send(double time_s);
  void check(int code, const char* step) const;

  std::filesystem::path path;
  WriterOptions wanted;
  av::CodecPtr encoder;
  std::unique_ptr<AVFormatContext, OutputDeleter> format;
  AVStream* stream = nullptr;
  av::FramePtr frame;
  av::PacketPtr packet;
  av::ScalerPtr scaler;
  std::int64_t last_tick = -1;
};

Writer::Inside::Inside(const std::filesystem::path& file, const WriterOptions& options)
    : path(file), wanted(options), frame(av_frame_alloc()), packet(av_packet_alloc()) {
  av::listen_quietly();
  check_options(options);
  if (frame == nullptr || packet == nullptr) {
    throw std::bad_alloc();
  }
  open_encoder();
  open_file();
}

void Writer::Inside::check(int code, const char* step) const {
  if (code < 0) {
    throw UserError(path.string(), "", fmt::format("{} failed ({})", step, av::message(code)),
                    "check that the folder can be written and has space left");
  }
}

void Writer::Inside::open_encoder() {
  const AVCodec* codec = avcodec_find_encoder_by_name("libx264");
  if (codec == nullptr) {
    throw UserError(path.string(), "", "this libav has no x264 encoder",
                    "install libavcodec with x264");
  }
  encoder.reset(avcodec_alloc_context3(codec));
  if (encoder == nullptr) {
    throw std::bad_alloc();
  }
  AVCodecContext& e = *encoder;
  e.width = wanted.width;
  e.height = wanted.height;
  e.pix_fmt = AV_PIX_FMT_YUV420P;
  e.time_base = {1, ticks_per_s};
  e.framerate = av_d2q(wanted.rate_hz, 1'000'000);
  e.gop_size = wanted.gop > 0 ? wanted.gop
                              : std::max(1, static_cast<int>(std::lround(2.0 * wanted.rate_hz)));
  if (wanted.b_frames >= 0) {
    e.max_b_frames = wanted.b_frames;
  }
  e.thread_count = std::max(wanted.threads, 1);
  e.colorspace = AVCOL_SPC_BT709;
  e.color_primaries = AVCOL_PRI_BT709;
  e.color_trc = AVCOL_TRC_BT709;
  e.color_range = wanted.full_range ? AVCOL_RANGE_JPEG : AVCOL_RANGE_MPEG;
  e.chroma_sample_location = AVCHROMA_LOC_LEFT;
  e.flags |= AV_CODEC_FLAG_GLOBAL_HEADER | AV_CODEC_FLAG_BITEXACT;
  if (wanted.interlaced) {
    e.flags |= AV_CODEC_FLAG_INTERLACED_DCT | AV_CODEC_FLAG_INTERLACED_ME;
    e.field_order = AV_FIELD_TT;
  }
  av_opt_set(e.priv_data, "preset", wanted.preset.c_str(), 0);
  av_opt_set_int(e.priv_data, "rc-lookahead", wanted.lookahead, 0);
  // x264 164's macroblock tree reads memory that it has not set: the same pictures would give other
  // bytes.
  av_opt_set_int(e.priv_data, "mbtree", 0, 0);
  if (wanted.bit_rate > 0) {
    e.bit_rate = wanted.bit_rate;
  } else {
    av_opt_set_double(e.priv_data, "crf", wanted.crf, 0);
  }
  check(avcodec_open2(encoder.get(), codec, nullptr), "starting the x264 encoder");
}

void Writer::Inside::open_file() {
  AVFormatContext* made = nullptr;
  const std::string address = "file:" + path.string();
  check(avformat_alloc_output_context2(&made, nullptr, "mp4", address.c_str()),
        "starting the MP4 file");
  format.reset(made);
  format->flags |= AVFMT_FLAG_BITEXACT;
  stream = avformat_new_stream(made, nullptr);
  if (stream == nullptr) {
    throw std::bad_alloc();
  }
  stream->time_base = encoder->time_base;
  stream->avg_frame_rate = encoder->framerate;
  check(avcodec_parameters_from_context(stream->codecpar, encoder.get()), "describing the stream");
  if (wanted.rotation_deg % 360 != 0) {
    auto* matrix = reinterpret_cast<std::int32_t*>(
        av_stream_new_side_data(stream, AV_PKT_DATA_DISPLAYMATRIX, 9 * sizeof(std::int32_t)));
    if (matrix == nullptr) {
      throw std::bad_alloc();
    }
    av_display_rotation_set(matrix, wanted.rotation_deg);
  }
  check(avio_open(&format->pb, address.c_str(), AVIO_FLAG_WRITE), "opening the file for writing");
  AVDictionary* settings = nullptr;
  av_dict_set(&settings, "movflags", "+faststart", 0);
  const int written = avformat_write_header(made, &settings);
  av_dict_free(&settings);
  check(written, "writing the file's head");
}

// A buffer that the encoder does not hold any more.
void Writer::Inside::prepare_frame() {
  if (frame->buf[0] != nullptr && av_frame_is_writable(frame.get()) != 0) {
    return;
  }
  av_frame_unref(frame.get());
  frame->format = AV_PIX_FMT_YUV420P;
  frame->width = wanted.width;
  frame->height = wanted.height;
  check(av_frame_get_buffer(frame.get(), 0), "making a picture");
}

// BGR to BT.709; the two fields each by itself, or the colour of different moments would mix.
void Writer::Inside::convert(const cv::Mat& bgr) {
  const int fields = wanted.interlaced ? 2 : 1;
  const int rows = wanted.height / fields;
  if (scaler == nullptr) {
    scaler.reset(sws_getContext(wanted.width, rows, AV_PIX_FMT_BGR24, wanted.width, rows,
                                AV_PIX_FMT_YUV420P,
                                SWS_AREA | SWS_ACCURATE_RND | SWS_BITEXACT | SWS_FULL_CHR_H_INP,
                                nullptr, nullptr, nullptr));
    if (scaler == nullptr) {
      throw std::bad_alloc();
    }
    const int* bt709 = sws_getCoefficients(SWS_CS_ITU709);
    sws_setColorspaceDetails(scaler.get(), bt709, 1, bt709, wanted.full_range ? 1 : 0, 0, 1 << 16,
                             1 << 16);
  }
  for (int field = 0; field < fields; ++field) {
    const std::uint8_t* from[4] = {bgr.ptr(field), nullptr, nullptr, nullptr};
    const int from_step[4] = {static_cast<int>(bgr.step) * fields, 0, 0, 0};
    std::uint8_t* to[4] = {nullptr, nullptr, nullptr, nullptr};
    int to_step[4] = {0, 0, 0, 0};
    for (int plane = 0; plane < 3; ++plane) {
      to[plane] = frame->data[plane] + field * frame->linesize[plane];
      to_step[plane] = frame->linesize[plane] * fields;
    }
    sws_scale(scaler.get(), from, from_step, 0, rows, to, to_step);
  }
}

void Writer::Inside::send(double time_s) {
  const auto tick = static_cast<std::int64_t>(std::llround(time_s * ticks_per_s));
  if (tick <= last_tick) {
    throw std::invalid_argument("the times of a video must grow from one picture to the next");
  }
  last_tick = tick;
  frame->pts = tick;
  frame->pict_type = AV_PICTURE_TYPE_NONE;
  frame->interlaced_frame = wanted.interlaced ? 1 : 0;
  frame->top_field_first = wanted.interlaced ? 1 : 0;
  encode(frame.get());
}

void Writer::Inside::encode(AVFrame* picture) {
  check(avcodec_send_frame(encoder.get(), picture), "coding a picture");
  while (true) {
    const int got = avcodec_receive_packet(encoder.get(), packet.get());
    if (got == AVERROR(EAGAIN) || got == AVERROR_EOF) {
      return;
    }
    check(got, "coding a picture");
    packet->stream_index = stream->index;
    packet->duration = static_cast<std::int64_t>(std::llround(ticks_per_s / wanted.rate_hz));
    av_packet_rescale_ts(packet.get(), encoder->time_base, stream->time_base);
    check(av_interleaved_write_frame(format.get(), packet.get()), "writing a picture");
    check(format->pb->error, "writing a picture");
  }
}

Writer::Writer(const std::filesystem::path& file, const WriterOptions& options)
    : inside_(std::make_unique<Inside>(file, options)) {}
Writer::~Writer() = default;

void Writer::add(const cv::Mat& picture, double time_s) {
  Inside& in = *inside_;
  if (picture.cols != in.wanted.width || picture.rows != in.wanted.height ||
      (picture.type() != CV_8UC3 && picture.type() != CV_8UC1)) {
    throw std::invalid_argument("the picture has not the size or type of the video");
  }
  if (picture.type() == CV_8UC1) {
    const cv::Mat grey(picture.rows / 2, picture.cols / 2, CV_8UC1, cv::Scalar(128));
    add(picture, grey, grey, time_s);
    return;
  }
  in.prepare_frame();
  in.convert(picture);
  in.send(time_s);
}

void Writer::add(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr, double time_s) {
  Inside& in = *inside_;
  const cv::Size full(in.wanted.width, in.wanted.height);
  const cv::Size half(full.width / 2, full.height / 2);
  if (luma.size() != full || cb.size() != half || cr.size() != half || luma.type() != CV_8UC1 ||
      cb.type() != CV_8UC1 || cr.type() != CV_8UC1) {
    throw std::invalid_argument("the planes have not the size or type of the video");
  }
  in.prepare_frame();
  int plane = 0;
  for (const cv::Mat* from : {&luma, &cb, &cr}) {
    cv::Mat to(from->rows, from->cols, CV_8UC1, in.frame->data[plane],
               static_cast<std::size_t>(in.frame->linesize[plane]));
    from->copyTo(to);
    ++plane;
  }
  in.send(time_s);
}

void Writer::finish() {
  Inside& in = *inside_;
  in.encode(nullptr);
  in.check(av_write_trailer(in.format.get()), "completing the file");
  in.check(avio_closep(&in.format->pb), "completing the file");
}

}  // namespace rhumb::video
