#include "video/av.h"

extern "C" {
#include <libavutil/log.h>
}

#include <array>
#include <cstdarg>
#include <cstring>

namespace rhumb::video::av {
namespace {

// The concealment of errors is reported at a lower level than errors are, but always with this
// word.
bool is_complaint(int level, const char* format) {
  return level <= AV_LOG_ERROR ||
         (format != nullptr && std::strncmp(format, "concealing", 10) == 0);
}

void count_complaint(void* object, int level, const char* format, va_list) {
  if (object == nullptr || !is_complaint(level, format) ||
      *static_cast<const AVClass* const*>(object) != avcodec_get_class()) {
    return;
  }
  if (auto* count =
          static_cast<std::atomic<int>*>(static_cast<const AVCodecContext*>(object)->opaque)) {
    count->fetch_add(1);
  }
}

}  // namespace

void listen_quietly() { av_log_set_callback(&count_complaint); }

std::string message(int code) {
  std::array<char, AV_ERROR_MAX_STRING_SIZE> text{};
  av_strerror(code, text.data(), text.size());
  return text.data();
}

}  // namespace rhumb::video::av
