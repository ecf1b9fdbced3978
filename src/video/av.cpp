#include "video/av.h"

#include <array>

namespace rhumb::video::av {

std::string message(int code) {
  std::array<char, AV_ERROR_MAX_STRING_SIZE> text{};
  av_strerror(code, text.data(), text.size());
  return text.data();
}

}  // namespace rhumb::video::av
