#include "video/part.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <new>
#include <thread>

#include "video/error.h"

namespace rhumb::video {
namespace {

// 8192 x 8192: above 8K. Anything larger is a broken header and not a recording.
constexpr std::int64_t most_pixels = std::int64_t{8192} * 8192;
// Above 4K each decoder thread costs 50 MB and more, so fewer are let run.
constexpr std::int64_t large_pixels = std::int64_t{4096} * 2304;
// Threads that decode whole pictures wait for one another's rows: three for each processor keep it
// busy (1080p60 H.264 at 30 Mb/s on two: 7.1 s with libav's choice of three in all, 5.4 s with
// six).
constexpr unsigned threads_per_processor = 3;
constexpr std::int64_t most_threads_pixels = std::int64_t{64} << 20;  // a picture for each thread
constexpr int most_threads = 16;                                      // as libav's own
// Reading goes on after errors, but not for ever: a disk that fails gives nothing but errors.
constexpr int most_errors_in_a_row = 2000;
// A key frame follows a seek at once, or the file has no order to rely on.
constexpr int most_packets_to_key = 2000;

int useful_threads(std::int64_t pixels) {
  const unsigned processors = std::max(1U, std::thread::hardware_concurrency());
  const auto fit = static_cast<int>(most_threads_pixels / std::max<std::int64_t>(pixels, 1 << 20));
  return std::clamp(static_cast<int>(threads_per_processor * processors), 1,
                    std::min(fit, most_threads));
}

}  // namespace

Part::Part(const std::filesystem::path& path, const PartOptions& options)
    : path_(path),
      input_(std::make_unique<FileInput>(path, options.cancel)),
      complaints_(std::make_unique<std::atomic<int>>(0)),
      packet_(av_packet_alloc()) {
  if (packet_ == nullptr) {
    throw std::bad_alloc();
  }
  av::listen_quietly();
  open_container();
  open_decoder(options);
}

void Part::open_container() {
  AVFormatContext* format = avformat_alloc_context();
  if (format == nullptr) {
    throw std::bad_alloc();
  }
  input_->attach(*format);
  // On failure this call frees the context itself.
  const int opened = avformat_open_input(&format, path_.c_str(), nullptr, nullptr);
  if (opened >= 0) format_.reset(format);
  if (input_->is_inside_dicom()) notes_.emplace_back("the recording is a DICOM video object");
  if (input_->is_cancelled()) {
    throw Interrupted();
  }
  if (opened < 0) {
    throw VideoError(path_, "",
                     fmt::format("is not a video that can be read ({})", av::message(opened)),
                     "check that it plays, or copy it again from the recorder");
  }
  avformat_find_stream_info(format_.get(), nullptr);
  const int best = av_find_best_stream(format_.get(), AVMEDIA_TYPE_VIDEO, -1, -1, nullptr, 0);
  if (best < 0 || (format_->streams[best]->disposition & AV_DISPOSITION_ATTACHED_PIC) != 0) {
    throw VideoError(path_, "",
                     fmt::format("holds no video stream (container {})", format_->iformat->name),
                     "name the file with the pictures of the recording");
  }
  for (unsigned i = 0; i < format_->nb_streams; ++i) {
    format_->streams[i]->discard = static_cast<int>(i) == best ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
  }
  stream_ = format_->streams[best];
}

void Part::open_decoder(const PartOptions& options) {
  const AVCodecParameters& coded = *stream_->codecpar;
  const AVCodec* codec = avcodec_find_decoder(coded.codec_id);
  if (codec == nullptr) {
    throw VideoError(path_, fmt::format("video stream {}", stream_->index),
                     fmt::format("is coded as {}, which can't be decoded here",
                                 avcodec_get_name(coded.codec_id)),
                     "convert it to H.264");
  }
  const std::int64_t pixels = std::int64_t{coded.width} * coded.height;
  if (pixels > most_pixels) {
    throw VideoError(path_, fmt::format("video stream {}", stream_->index),
                     fmt::format("claims pictures of {} x {} pixels", coded.width, coded.height),
                     "scale it down to 8192 x 8192 or less");
  }
  decoder_.reset(avcodec_alloc_context3(codec));
  if (decoder_ == nullptr || avcodec_parameters_to_context(decoder_.get(), &coded) < 0) {
    throw std::bad_alloc();
  }
  decoder_->pkt_timebase = stream_->time_base;
  decoder_->max_pixels = most_pixels;
  decoder_->thread_count =
      options.decoder_threads > 0 ? options.decoder_threads : useful_threads(pixels);
  if (pixels > large_pixels) {
    decoder_->thread_count = 1;
  }
  if (options.keyframes_only) {
    decoder_->skip_frame = AVDISCARD_NONKEY;
  }
  decoder_->opaque = complaints_.get();  // the contexts of its threads share it
  const int opened = avcodec_open2(decoder_.get(), codec, nullptr);
  if (opened < 0) {
    throw VideoError(
        path_, fmt::format("video stream {}", stream_->index),
        fmt::format("decoder {} can't be started ({})", codec->name, av::message(opened)),
        "convert the recording to H.264");
  }
}

// What the decoder has ready, if anything.
std::optional<Decoded> Part::receive() {
  av::FramePtr picture(av_frame_alloc());
  if (picture == nullptr) {
    throw std::bad_alloc();
  }
  while (true) {
    last_receive_ = avcodec_receive_frame(decoder_.get(), picture.get());
    if (last_receive_ < 0) {
      return std::nullopt;
    }
    errors_in_a_row_ = 0;
    if (picture->width > 0 && picture->height > 0 && picture->data[0] != nullptr) {
      break;
    }
  }
  Decoded decoded;
  if (picture->best_effort_timestamp != AV_NOPTS_VALUE) {
    decoded.stamp_s =
        static_cast<double>(picture->best_effort_timestamp) * av_q2d(stream_->time_base);
  }
  decoded.damaged =
      picture->decode_error_flags != 0 || (picture->flags & AV_FRAME_FLAG_CORRUPT) != 0;
  decoded.picture = std::move(picture);
  return decoded;
}

std::optional<Decoded> Part::next() {
  while (goes_on()) {
    if (auto decoded = receive()) {
      return decoded;
    }
    if (last_receive_ == AVERROR_EOF) {
      return std::nullopt;
    }
    if (last_receive_ != AVERROR(EAGAIN)) {
      count_damage();
      if (draining_) {
        continue;
      }
    }
    feed();
  }
  if (errors_in_a_row_ >= most_errors_in_a_row) {
    notes_.push_back(fmt::format("{}: given up after {} errors in a row", path_.filename().string(),
                                 errors_in_a_row_));
  }
  return std::nullopt;
}

bool Part::goes_on() const {
  return errors_in_a_row_ < most_errors_in_a_row && !input_->is_cancelled();
}

void Part::count_damage() {
  ++damaged_packets_;
  ++errors_in_a_row_;
}

// The next packet of the stream into packet_; false at the end of what can be read.
bool Part::read_packet() {
  av_packet_unref(packet_.get());
  while (goes_on()) {
    const int read = av_read_frame(format_.get(), packet_.get());
    if (read == 0) {
      if (packet_->stream_index == stream_->index) {
        return true;
      }
      av_packet_unref(packet_.get());
    } else if (read == AVERROR_INVALIDDATA || read == AVERROR(EAGAIN)) {
      count_damage();
    } else {
      if (read != AVERROR_EOF && read != AVERROR_EXIT) {
        notes_.push_back(fmt::format("{}: reading stopped early ({})", path_.filename().string(),
                                     av::message(read)));
      }
      return false;
    }
  }
  return false;
}

// Hands the decoder one packet, or tells it that there are no more.
void Part::feed() {
  while (read_packet()) {
    const int sent = avcodec_send_packet(decoder_.get(), packet_.get());
    if (sent >= 0 || sent == AVERROR(EAGAIN)) {
      return;
    }
    count_damage();
  }
  draining_ = true;
  avcodec_send_packet(decoder_.get(), nullptr);
}

std::optional<PacketFacts> Part::next_packet() {
  if (!read_packet()) {
    return std::nullopt;
  }
  PacketFacts facts;
  if (packet_->pts != AV_NOPTS_VALUE) {
    facts.stamp_s = static_cast<double>(packet_->pts) * av_q2d(stream_->time_base);
  }
  facts.is_key = (packet_->flags & AV_PKT_FLAG_KEY) != 0;
  facts.is_shown = (packet_->flags & AV_PKT_FLAG_DISCARD) == 0;
  return facts;
}

bool Part::seek(double stamp_s) {
  const auto stamp =
      static_cast<std::int64_t>(std::floor(stamp_s / av_q2d(stream_->time_base) + 1e-3));
  const int sought = av_seek_frame(format_.get(), stream_->index, stamp, AVSEEK_FLAG_BACKWARD);
  avcodec_flush_buffers(decoder_.get());
  draining_ = false;
  errors_in_a_row_ = 0;
  return sought >= 0;
}

std::optional<double> Part::key_stamp(double stamp_s) {
  if (!seek(stamp_s)) {
    return std::nullopt;
  }
  for (int tried = 0; tried < most_packets_to_key; ++tried) {
    const auto packet = next_packet();
    if (!packet) {
      return std::nullopt;
    }
    if (packet->is_key && packet->is_shown && packet->stamp_s) {
      return packet->stamp_s;
    }
  }
  return std::nullopt;
}

std::optional<Decoded> Part::key_picture(double stamp_s) {
  if (!key_stamp(stamp_s)) {
    return std::nullopt;
  }
  // A second packet may hold the second field; of a progressive stream it isn't needed.
  const int field_order = av::number_of(stream_->codecpar->field_order);
  const int packets = field_order == AV_FIELD_PROGRESSIVE ? 1 : 2;
  for (int sent = 0; sent < packets; ++sent) {
    if (avcodec_send_packet(decoder_.get(), packet_.get()) < 0 || !read_packet()) {
      break;
    }
  }
  avcodec_send_packet(decoder_.get(), nullptr);
  std::optional<Decoded> decoded = receive();
  avcodec_flush_buffers(decoder_.get());
  return decoded;
}

int Part::complaints() const { return complaints_->load(); }

bool Part::uses_frame_threads() const {
  return decoder_->thread_count > 1 && (decoder_->active_thread_type & FF_THREAD_FRAME) != 0;
}

double Part::promised_duration_s() const {
  double duration_s = 0.0;
  if (stream_->duration != AV_NOPTS_VALUE && stream_->duration > 0) {
    duration_s = static_cast<double>(stream_->duration) * av_q2d(stream_->time_base);
  } else if (format_->duration != AV_NOPTS_VALUE && format_->duration > 0) {
    duration_s = static_cast<double>(format_->duration) / AV_TIME_BASE;
  }
  return duration_s;
}

double Part::promised_rate_hz() const {
  for (const AVRational rate : {stream_->avg_frame_rate, stream_->r_frame_rate}) {
    if (rate.num > 0 && rate.den > 0 && av_q2d(rate) >= 0.1 && av_q2d(rate) <= 1000.0) {
      return av_q2d(rate);
    }
  }
  return 0.0;
}

}  // namespace rhumb::video
