#include "video/part.h"

#include <fmt/format.h>

#include <algorithm>
#include <new>

#include "video/error.h"

namespace rhumb::video {
namespace {

// 8192 x 8192: above 8K. Anything larger is a broken header and not a recording.
constexpr std::int64_t most_pixels = std::int64_t{8192} * 8192;
// Above 4K each decoder thread costs 50 MB and more, so fewer are let run.
constexpr std::int64_t large_pixels = std::int64_t{4096} * 2304;
// Reading goes on after errors, but not for ever: a disk that fails gives nothing but errors.
constexpr int most_errors_in_a_row = 200;

}  // namespace

Part::Part(const std::filesystem::path& path, const PartOptions& options)
    : path_(path),
      input_(std::make_unique<FileInput>(path, options.cancel)),
      packet_(av_packet_alloc()) {
  if (packet_ == nullptr) {
    throw std::bad_alloc();
  }
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
  if (input_->is_cancelled()) {
    throw Interrupted();
  }
  if (opened < 0) {
    throw VideoError(path_, "",
                     fmt::format("is not a video that can be read ({})", av::message(opened)),
                     "check that it plays, or copy it again from the recorder");
  }
  format_.reset(format);
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
  decoder_->thread_count = std::max(options.decoder_threads, 0);
  if (pixels > large_pixels) {
    decoder_->thread_count = 1;
  }
  if (options.keyframes_only) {
    decoder_->skip_frame = AVDISCARD_NONKEY;
  }
  const int opened = avcodec_open2(decoder_.get(), codec, nullptr);
  if (opened < 0) {
    throw VideoError(
        path_, fmt::format("video stream {}", stream_->index),
        fmt::format("decoder {} can't be started ({})", codec->name, av::message(opened)),
        "convert the recording to H.264");
  }
}

std::optional<Decoded> Part::next() {
  av::FramePtr picture(av_frame_alloc());
  if (picture == nullptr) {
    throw std::bad_alloc();
  }
  while (errors_in_a_row_ < most_errors_in_a_row && !input_->is_cancelled()) {
    const int got = avcodec_receive_frame(decoder_.get(), picture.get());
    if (got == 0) {
      errors_in_a_row_ = 0;
      if (picture->width <= 0 || picture->height <= 0 || picture->data[0] == nullptr) {
        continue;
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
    if (got == AVERROR_EOF) {
      return std::nullopt;
    }
    if (got != AVERROR(EAGAIN)) {
      ++damaged_packets_;
      ++errors_in_a_row_;
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

// Hands the decoder one packet, or tells it that there are no more.
void Part::feed() {
  while (errors_in_a_row_ < most_errors_in_a_row && !input_->is_cancelled()) {
    const int read = av_read_frame(format_.get(), packet_.get());
    if (read == AVERROR(EAGAIN)) {
      ++errors_in_a_row_;
      continue;
    }
    if (read < 0 && read != AVERROR_INVALIDDATA) {
      if (read != AVERROR_EOF && read != AVERROR_EXIT) {
        notes_.push_back(fmt::format("{}: reading stopped early ({})", path_.filename().string(),
                                     av::message(read)));
      }
      draining_ = true;
      avcodec_send_packet(decoder_.get(), nullptr);
      return;
    }
    if (read < 0) {
      ++damaged_packets_;
      ++errors_in_a_row_;
      continue;
    }
    if (packet_->stream_index != stream_->index) {
      av_packet_unref(packet_.get());
      continue;
    }
    const int sent = avcodec_send_packet(decoder_.get(), packet_.get());
    av_packet_unref(packet_.get());
    if (sent < 0 && sent != AVERROR(EAGAIN)) {
      ++damaged_packets_;
      ++errors_in_a_row_;
      continue;
    }
    return;
  }
}

bool Part::seek(double stamp_s) {
  const auto stamp = static_cast<std::int64_t>(stamp_s / av_q2d(stream_->time_base));
  const int sought = av_seek_frame(format_.get(), stream_->index, stamp, AVSEEK_FLAG_BACKWARD);
  avcodec_flush_buffers(decoder_.get());
  draining_ = false;
  errors_in_a_row_ = 0;
  return sought >= 0;
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
